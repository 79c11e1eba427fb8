/**
 * The desk: the brief on the left, the picture on the right, all moods below it.
 *
 * @typedef {import("./types.js").State} State
 * @typedef {import("./types.js").Spot} Spot
 * @typedef {import("./types.js").Told} Told
 * @typedef {import("./types.js").Head} Head
 */
import { Brief } from "./brief.js";
import { Keeping } from "./keeping.js";
import { Link } from "./link.js";
import { Looking } from "./looking.js";
import { afterPaint, paint } from "./pictures.js";
import { Stage } from "./stage.js";
import { noiseWords, spotWords } from "./words.js";

/**
 * @param {string} id
 * @returns {HTMLElement}
 */
const by = (id) => /** @type {HTMLElement} */ (document.getElementById(id));
/**
 * @param {string} id
 * @returns {HTMLCanvasElement}
 */
const canvas = (id) => /** @type {HTMLCanvasElement} */ (by(id));
/**
 * @param {string} id
 * @returns {HTMLInputElement}
 */
const input = (id) => /** @type {HTMLInputElement} */ (by(id));

const AIM = "aim:";
const STILL_MS = 350;
let solving = 0;

/** Solve the aims of the mood when the hand that turns one of them is still. */
function solveSoon() {
  clearTimeout(solving);
  solving = setTimeout(() => say({ do: "aim", mood: desk.mood }), STILL_MS);
}

/** @type {{state: State | null, mood: string, spot: Spot | null, picked: string, area: number[],
 *          asking: number, isAsking: boolean, next: {x: number, y: number} | null, saying: string}} */
const desk = {
  state: null,
  mood: sessionStorage.getItem("mood") || "",
  spot: null,
  picked: "",
  area: [],
  asking: 0,
  isAsking: false,
  next: null,
  saying: "",
};

const link = new Link(hear, see, (isOpen, refused) => {
  document.documentElement.dataset.link = isOpen ? "open" : "closed";
  desk.isAsking = false;
  desk.saying = "";
  if (isOpen) {
    tell("", true);
    look();
  } else if (refused) {
    tell("Open the address that the terminal shows: it holds this start's key.", false);
  } else {
    tell("The desk has ended, or cannot be reached. Trying again.", false);
  }
});
const say = (/** @type {object} */ message) => link.say(message);
const keeping = new Keeping(say);
const looking = new Looking(look);

const brief = new Brief(by("brief"), {
  turn: (figure, size, count, gesture) => {
    link.turn({ mood: desk.mood, figure, size, count, gesture });
    if (figure.startsWith(AIM)) solveSoon();
  },
  say: (figure, text) => {
    if (figure.startsWith(AIM)) say({ do: "aim", mood: desk.mood, name: figure.slice(AIM.length), text });
    else say({ do: "say", mood: desk.mood, figure, text });
  },
  own: (figure) => say({ do: "own", mood: desk.mood, figure }),
  letGo: (figure) => say({ do: "let go", mood: desk.mood, figure }),
  outline: (area) => stage.outline(area),
});

const stage = new Stage(by("stage"), by("frame"), by("spot"), by("area"), {
  ask,
  pull: (count, size, gesture) => {
    const figure = brief.gainOf(desk.picked || desk.spot?.lights[0]?.light || "");
    if (figure) link.turn({ mood: desk.mood, figure, size, count, gesture });
  },
  pick: (number) => {
    desk.picked = desk.spot?.lights[number - 1]?.light || desk.picked;
    showSpot();
  },
  near: closeUp,
  before: showBefore,
  drawn: (area) => {
    if (!area) enter("look");
    else if (area.right === 0) enter("area");
    else aimAt([area.left, area.top, area.right, area.bottom]);
  },
});

/**
 * @param {string} text
 * @param {boolean} good
 */
function tell(text, good) {
  by("said").textContent = text;
  by("said").classList.toggle("wrong", !good);
}

/** @param {Told} told */
function hear(told) {
  if (told.tell === "state") show(/** @type {any} */ (told));
  else if (told.tell === "said") {
    tell(told.text, told.ok);
    keeping.offer(Boolean(told.again));
    desk.isAsking = false;
  } else if (told.tell === "spot") answered(/** @type {any} */ (told));
  else if (told.tell === "noise") tell(noiseWords(/** @type {any} */ (told)), true);
  else if (told.tell === "progress") keeping.progress(told.text, told.share);
  else if (told.tell === "heard") heard(told);
  else if (told.tell === "scale") looking.scale = /** @type {any} */ (told);
}

/**
 * Clear what was said once it is done; what was refused stays, to be put right.
 *
 * @param {Told} told
 */
function heard(told) {
  desk.saying = "";
  if (!told.ok) return;
  tell("", true);
  if (input("say").value.trim() === told.text.trim()) input("say").value = "";
}

/** @param {State} state */
function show(state) {
  const isFirst = desk.state === null;
  desk.state = state;
  if (!state.moods.some((mood) => mood.name === desk.mood)) desk.mood = state.moods[0].name;
  document.title = `${state.view}${state.unsaved ? " (not saved)" : ""}`;
  by("project").textContent = state.project;
  by("view").textContent = state.view;
  input("say").placeholder = state.example;
  showMoods(state);
  looking.fill(state);
  keeping.show(state);
  choose(desk.mood, isFirst);
  document.documentElement.dataset.version = String(state.version); // all of it is shown
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
    /** @type {HTMLElement} */ (home.children[index].lastElementChild).textContent = mood.title;
    /** @type {HTMLElement} */ (home.children[index]).title = mood.title;
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
  const mood = desk.state?.moods.find((each) => each.name === name);
  if (!mood) return;
  const isOther = desk.mood !== name;
  if (isOther) desk.picked = "";
  desk.mood = name;
  sessionStorage.setItem("mood", name);
  document.documentElement.dataset.hour = mood.hour;
  by("left-name").textContent = mood.title;
  brief.show(mood);
  for (const each of /** @type {HTMLCollectionOf<HTMLElement>} */ (by("moods").children)) {
    each.setAttribute("aria-pressed", String(each.dataset.mood === name));
    if (isOther && each.dataset.mood === name) each.scrollIntoView({ block: "nearest", inline: "nearest" });
  }
  if (changed) look();
  if (!by("spot").hidden) ask(stage.place);
  else if (isOther) forgetSpot();
}

function forgetSpot() {
  desk.spot = null;
  if (stage.mode === "look") by("caption").textContent = "";
  brief.mark(new Map());
}

/** Tell the desk what is to be seen. */
function look() {
  const state = desk.state;
  if (!state) return;
  const { beside, besideOf, only, without, shows } = looking.view;
  const before = state.rounds.length ? `round ${state.rounds[0].number}` : "saved";
  say({ do: "look", mood: desk.mood, beside, beside_of: besideOf, before, only, without, shows });
  if (stage.mode === "near") closeUp(stage.place);
}

/**
 * @param {Head} head
 * @param {Uint8ClampedArray<ArrayBuffer>} codes
 */
function see(head, codes) {
  const done = () => say({ do: "painted", number: head.number });
  if (head.fault) {
    tell(head.fault, false);
    done();
    return;
  }
  const where = canvasOf(head);
  if (where) {
    paint(where, head, codes);
    if (head.place === "front") {
      document.documentElement.style.setProperty("--aspect", String(head.width / head.height));
    }
    if (head.place === "beside") where.hidden = !looking.view.beside;
    if (head.place === "near") {
      where.hidden = stage.mode !== "near";
      where.style.width = `${head.width / devicePixelRatio}px`;
      by("caption").textContent = "One pixel a pixel, from the full passes. Drag, or use arrow keys.";
    }
  }
  afterPaint(() => {
    if (head.place === "front") {
      performance.mark("painted", { detail: { version: head.version, size: head.size } });
    }
    done();
  });
}

/**
 * @param {Head} head
 * @returns {HTMLCanvasElement | null}
 */
function canvasOf(head) {
  if (head.place.startsWith("mood ")) {
    const home = [...by("moods").children].find(
      (each) => /** @type {HTMLElement} */ (each).dataset.mood === head.mood,
    );
    return /** @type {HTMLCanvasElement | null} */ (home?.firstElementChild || null);
  }
  return head.place === "beside" || head.mood === desk.mood ? canvas(head.place) : null;
}

/** Ask what lights a spot; while one answer is on its way only the last spot waits. @param {{x: number, y: number}} place */
function ask(place) {
  if (desk.isAsking) {
    desk.next = place;
    return;
  }
  desk.isAsking = true;
  desk.asking += 1;
  say({ do: "ask", mood: desk.mood, x: place.x, y: place.y, number: desk.asking });
}

/** @param {Spot} spot */
function answered(spot) {
  desk.isAsking = false;
  desk.spot = spot;
  if (!stage.isHeld && !spot.lights.some((light) => light.light === desk.picked)) desk.picked = "";
  showSpot();
  const next = desk.next;
  desk.next = null;
  if (next) ask(next);
}

function showSpot() {
  const spot = desk.spot;
  if (!spot || stage.mode !== "look") return;
  by("caption").textContent = spotWords(spot, desk.picked);
  brief.mark(new Map(spot.lights.map((light) => [light.light, light.share])));
}

/** @param {boolean} isShown */
function showBefore(isShown) {
  const before = canvas("before");
  before.hidden = !isShown || before.dataset.mood !== desk.mood;
  by("hold-before").setAttribute("aria-pressed", String(isShown));
  if (isShown) {
    const rounds = desk.state?.rounds || [];
    by("caption").textContent = rounds.length ? `As in round ${rounds[0].number}.` : "As it was saved last.";
  }
}

/** @param {"look" | "area" | "near"} mode */
function enter(mode) {
  stage.enter(mode);
  by("draw").setAttribute("aria-pressed", String(mode === "area"));
  by("close-up").setAttribute("aria-pressed", String(mode === "near"));
  by("aiming").hidden = true;
  canvas("near").hidden = true;
  by("caption").textContent =
    mode === "area" ? "Draw an area in the picture; arrow keys move it, with shift they size it, Enter takes it." : "";
  if (mode === "area") by("stage").focus();
}

/** @param {number[]} area */
function aimAt(area) {
  desk.area = area;
  by("aiming").hidden = false;
  by("caption").textContent = "";
  by("aim").focus();
}

/** @param {{x: number, y: number}} place */
function closeUp(place) {
  const box = by("frame").getBoundingClientRect();
  const width = Math.max(16, Math.round(box.width * devicePixelRatio));
  const height = Math.max(16, Math.round(box.height * devicePixelRatio));
  by("caption").textContent = "Reading the full passes.";
  say({ do: "near", mood: desk.mood, x: place.x, y: place.y, width, height });
}

by("saying").addEventListener("submit", (event) => {
  event.preventDefault();
  const text = input("say").value.trim();
  if (!text || text === desk.saying) return;
  desk.saying = text;
  say({ do: "say", mood: desk.mood, text });
});
by("aiming").addEventListener("submit", (event) => {
  event.preventDefault();
  const text = input("aim").value.trim() || input("aim").placeholder;
  say({ do: "aim", mood: desk.mood, area: desk.area, text });
  enter("look");
  by("stage").focus();
});
by("aiming").addEventListener("keydown", (event) => {
  if (/** @type {KeyboardEvent} */ (event).key === "Escape") enter("look");
});
by("draw").addEventListener("click", () => enter(stage.mode === "area" ? "look" : "area"));
by("close-up").addEventListener("click", () => enter(stage.mode === "near" ? "look" : "near"));
by("noise").addEventListener("click", () => {
  tell("Measuring the noise of the full passes.", true);
  say({ do: "noise", mood: desk.mood });
});

const hold = by("hold-before");
for (const [begin, end] of [["pointerdown", "pointerup"], ["pointerdown", "pointerleave"]]) {
  hold.addEventListener(begin, () => showBefore(true));
  hold.addEventListener(end, () => showBefore(false));
}
hold.addEventListener("keydown", (event) => {
  if (event.key === " " || event.key === "Enter") showBefore(true);
});
hold.addEventListener("keyup", () => showBefore(false));
hold.addEventListener("blur", () => showBefore(false));
document.addEventListener("keydown", (event) => {
  if (event.key !== "F2") return;
  event.preventDefault();
  showBefore(true);
});
document.addEventListener("keyup", (event) => {
  if (event.key === "F2") showBefore(false);
});
