/**
 * The desk: the brief on the left, the picture on the right, all moods below it.
 *
 * @typedef {import("./types.js").State} State
 * @typedef {import("./types.js").Told} Told
 * @typedef {import("./types.js").Head} Head
 */
import { Brief } from "./brief.js";
import { Link } from "./link.js";
import { afterPaint, paint } from "./pictures.js";

/**
 * @param {string} id
 * @returns {HTMLElement}
 */
const by = (id) => /** @type {HTMLElement} */ (document.getElementById(id));
const front = /** @type {HTMLCanvasElement} */ (by("front"));
const said = by("said");

/** @type {{state: State | null, mood: string}} */
const desk = { state: null, mood: sessionStorage.getItem("mood") || "" };

const link = new Link(hear, see, (isOpen, refused) => {
  document.documentElement.dataset.link = isOpen ? "open" : "closed";
  if (isOpen) tell("", true);
  else if (refused) tell("Open the address that the terminal shows: it holds this start's key.", false);
  else tell("The desk has ended, or cannot be reached. Trying again.", false);
});

const brief = new Brief(by("brief"), {
  turn: (figure, size, count, gesture) => link.turn({ mood: desk.mood, figure, size, count, gesture }),
  say: (figure, text) => link.say({ do: "say", mood: desk.mood, figure, text }),
  own: (figure) => link.say({ do: "own", mood: desk.mood, figure }),
  letGo: (figure) => link.say({ do: "let go", mood: desk.mood, figure }),
});

/**
 * @param {string} text
 * @param {boolean} good
 */
function tell(text, good) {
  said.textContent = text;
  said.classList.toggle("wrong", !good);
}

/** @param {Told} told */
function hear(told) {
  if (told.tell === "state") show(/** @type {State} */ (/** @type {unknown} */ (told)));
  else if (told.tell === "said") tell(told.text, told.ok);
}

/** @param {State} state */
function show(state) {
  const isFirst = desk.state === null;
  desk.state = state;
  const moods = new Map(state.moods.map((mood) => [mood.name, mood]));
  if (!moods.has(desk.mood)) desk.mood = state.moods[0].name;
  document.title = `${state.view}${state.unsaved ? " (not saved)" : ""}`;
  by("project").textContent = state.project;
  by("view").textContent = state.view;
  showMoods(state);
  choose(desk.mood, isFirst);
  button("undo").disabled = !state.undoes;
  button("redo").disabled = !state.redoes;
  button("save").disabled = !state.unsaved;
  button("undo").title = state.undoes;
  button("redo").title = state.redoes;
  showOutside(state);
}

/**
 * @param {string} id
 * @returns {HTMLButtonElement}
 */
function button(id) {
  return /** @type {HTMLButtonElement} */ (by(id));
}

/** @param {State} state */
function showMoods(state) {
  const home = by("moods");
  const names = state.moods.map((mood) => mood.name).join("\n");
  if (home.dataset.names !== names) {
    home.dataset.names = names;
    home.replaceChildren(...state.moods.map((mood) => moodButton(mood.name)));
  }
  state.moods.forEach((mood, index) => {
    const each = home.children[index];
    /** @type {HTMLElement} */ (each.lastElementChild).textContent = mood.title;
    each.setAttribute("aria-pressed", String(mood.name === desk.mood));
  });
}

/**
 * @param {string} mood
 * @returns {HTMLButtonElement}
 */
function moodButton(mood) {
  const element = document.createElement("button");
  element.type = "button";
  element.dataset.mood = mood;
  element.append(document.createElement("canvas"), document.createElement("span"));
  element.addEventListener("click", () => choose(mood, true));
  return element;
}

/**
 * @param {string} name
 * @param {boolean} changed
 */
function choose(name, changed) {
  const state = desk.state;
  const mood = state?.moods.find((each) => each.name === name);
  if (!state || !mood) return;
  desk.mood = name;
  sessionStorage.setItem("mood", name);
  document.documentElement.dataset.hour = mood.hour;
  front.setAttribute("aria-label", `${mood.title}, as it stands`);
  brief.show(mood);
  for (const each of by("moods").children) {
    each.setAttribute("aria-pressed", String(/** @type {HTMLElement} */ (each).dataset.mood === name));
  }
  if (changed) link.say({ do: "look", mood: name });
}

/** @param {State} state */
function showOutside(state) {
  const home = by("outside");
  home.replaceChildren();
  if (state.conflict) {
    const conflict = state.conflict;
    home.append(
      line(`${state.file} was changed by another hand, and so was it here. Nothing is overwritten.`),
      list("In the file", conflict.fault ? [conflict.fault] : conflict.theirs),
      list("Here", conflict.ours),
      choice("Take the file's", "theirs"),
      " ",
      choice("Keep mine, to save over it", "ours"),
    );
  } else if (state.fault) {
    home.append(line("The file cannot be used as it stands now; the last sound recipe is shown."));
    home.append(line(state.fault));
  }
}

/** @param {string} text */
function line(text) {
  const element = document.createElement("p");
  element.textContent = text;
  return element;
}

/**
 * @param {string} title
 * @param {string[]} texts
 */
function list(title, texts) {
  const element = document.createElement("p");
  element.className = "soft";
  element.textContent = `${title}: ${texts.join("; ") || "the wording only"}`;
  return element;
}

/**
 * @param {string} text
 * @param {string} choice
 */
function choice(text, choice) {
  const element = document.createElement("button");
  element.type = "button";
  element.className = "plain";
  element.textContent = text;
  element.addEventListener("click", () => link.say({ do: "settle", choice }));
  return element;
}

/**
 * @param {Head} head
 * @param {Uint8ClampedArray} codes
 */
function see(head, codes) {
  const done = () => link.say({ do: "painted", number: head.number });
  if (head.fault) {
    tell(head.fault, false);
    done();
    return;
  }
  const small = head.place.startsWith("mood ");
  const home = [...by("moods").children].find(
    (each) => /** @type {HTMLElement} */ (each).dataset.mood === head.mood,
  );
  const canvas = small ? /** @type {HTMLCanvasElement | undefined} */ (home?.firstElementChild) : front;
  if (canvas && (small || head.mood === desk.mood)) {
    paint(canvas, head, codes);
    document.documentElement.style.setProperty("--aspect", String(head.width / head.height));
  }
  afterPaint(() => {
    if (!small) performance.mark("painted", { detail: { version: head.version, size: head.size } });
    done();
  });
}

by("saying").addEventListener("submit", (event) => {
  event.preventDefault();
  const input = /** @type {HTMLInputElement} */ (by("say"));
  if (input.value.trim()) link.say({ do: "say", mood: desk.mood, text: input.value });
  input.value = "";
});
for (const [id, what] of [["undo", "undo"], ["redo", "redo"], ["save", "save"]]) {
  by(id).addEventListener("click", () => link.say({ do: what }));
}
document.addEventListener("keydown", (event) => {
  if (!(event.ctrlKey || event.metaKey) || event.altKey) return;
  const key = event.key.toLowerCase();
  const what = key === "z" ? (event.shiftKey ? "redo" : "undo") : key === "y" ? "redo" : key === "s" ? "save" : "";
  if (!what || (what !== "save" && event.target instanceof HTMLInputElement)) return;
  event.preventDefault();
  link.say({ do: what });
});
