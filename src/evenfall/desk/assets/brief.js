/**
 * The brief: sentences whose figures are turned by keys, by dragging, or by typing.
 *
 * @typedef {import("./types.js").Mood} Mood
 * @typedef {import("./types.js").Figure} Figure
 * @typedef {import("./types.js").Sentence} Sentence
 * @typedef {{turn: (key: string, size: string, count: number, gesture: string) => void,
 *            say: (key: string, text: string) => void, own: (key: string) => void,
 *            letGo: (key: string) => void, outline: (area: number[]) => void}} Hands
 */

const PIXELS_A_STEP = 14;
const SLACK_PIXELS = 4;
const GESTURE_MS = 900;
const KEYS = {
  ArrowUp: ["third", 1],
  ArrowRight: ["third", 1],
  ArrowDown: ["third", -1],
  ArrowLeft: ["third", -1],
  PageUp: ["stop", 1],
  PageDown: ["stop", -1],
};
/** When the area of an aim is drawn in the picture, and when no longer. */
const OUTLINING = [["focus", true], ["pointerenter", true], ["blur", false], ["pointerleave", false]];

export class Brief {
  /**
   * @param {HTMLElement} home
   * @param {Hands} hands
   */
  constructor(home, hands) {
    this.home = home;
    this.hands = hands;
    this.shape = "";
    this.gesture = { key: "", at: 0, number: 0 };
    /** @type {Map<string, Figure>} */
    this.figures = new Map();
  }

  /**
   * Show a mood; where only figures differ only they are set, so that nothing jumps.
   *
   * @param {Mood} mood
   */
  show(mood) {
    this.figures = new Map(
      mood.sentences
        .flatMap((sentence) => sentence.clauses)
        .flatMap((clause) => clause.spans)
        .filter((span) => typeof span !== "string")
        .map((figure) => [/** @type {Figure} */ (figure).key, /** @type {Figure} */ (figure)]),
    );
    const shape = mood.name + JSON.stringify(mood.sentences, (name, value) =>
      name === "text" || name === "value" ? undefined : value,
    );
    if (shape === this.shape) {
      for (const [key, figure] of this.figures) this.set(this.element(key), figure);
      return;
    }
    if (this.home.querySelector("input") && this.shape.startsWith(mood.name)) return;
    const active = document.activeElement;
    const inside = active instanceof HTMLElement && this.home.contains(active);
    const key = inside ? active.dataset.key : undefined;
    const place = inside ? [...this.home.querySelectorAll(".figure")].indexOf(active) : -1;
    this.shape = shape;
    this.home.replaceChildren(...mood.sentences.map((sentence) => this.sentence(sentence)));
    if (inside) {
      const all = /** @type {NodeListOf<HTMLElement>} */ (this.home.querySelectorAll(".figure"));
      (this.element(key || "") || all[Math.min(place, all.length - 1)])?.focus();
    }
  }

  /**
   * @param {string} key
   * @returns {HTMLElement | undefined}
   */
  element(key) {
    const all = /** @type {NodeListOf<HTMLElement>} */ (this.home.querySelectorAll(".figure"));
    return [...all].find((each) => each.dataset.key === key);
  }

  /**
   * @param {Sentence} sentence
   * @returns {HTMLElement}
   */
  sentence(sentence) {
    const element = document.createElement("p");
    element.className = `sentence ${sentence.kind}`;
    element.append(sentence.lead);
    const last = sentence.clauses.length - 1;
    sentence.clauses.forEach((clause, index) => {
      const part = document.createElement("span");
      part.className = "clause";
      part.dataset.lights = clause.lights.join(" ");
      const source = commonSource(clause.spans);
      for (const span of clause.spans) {
        part.append(typeof span === "string" ? span : this.figure(span));
        if (typeof span !== "string" && span.from && !source) part.append(" ", from(span.from));
      }
      element.append(index === 0 ? " " : index < last ? ", " : last > 1 ? ", and " : " and ", part);
    });
    element.append(".");
    if (sentence.kind === "camera" || sentence.kind === "look") {
      const sources = sentence.clauses.map((clause) => commonSource(clause.spans));
      if (sources[0] && sources.every((each) => each === sources[0])) {
        element.append(" ", from(sources[0]));
      }
    }
    return element;
  }

  /**
   * @param {Figure} figure
   * @returns {HTMLElement}
   */
  figure(figure) {
    const element = document.createElement("span");
    element.className = "figure";
    element.dataset.key = figure.key;
    element.tabIndex = 0;
    element.setAttribute("role", "spinbutton");
    this.set(element, figure);
    element.addEventListener("keydown", (event) => this.key(event, figure.key));
    element.addEventListener("pointerdown", (event) => this.hold(event, element, figure.key));
    element.addEventListener("dblclick", () => this.type(element, ""));
    for (const [event, isOn] of OUTLINING) {
      element.addEventListener(String(event), () => {
        this.hands.outline((isOn && this.figures.get(figure.key)?.area) || []);
      });
    }
    return element;
  }

  /**
   * @param {HTMLElement | undefined} element
   * @param {Figure} figure
   */
  set(element, figure) {
    if (!element) return;
    element.textContent = figure.text;
    element.classList.toggle("taken", Boolean(figure.from));
    const said = figure.from ? `${figure.text}, from ${figure.from}` : figure.text;
    element.setAttribute("aria-label", figure.label);
    element.setAttribute("aria-valuetext", said);
    element.setAttribute("aria-valuenow", String(figure.value));
    element.title = figure.from ? `from ${figure.from}; click to make it this mood's own` : "";
  }

  /**
   * Turns that follow one another soon are undone together.
   *
   * @param {string} key
   * @returns {string}
   */
  gestureOf(key) {
    const now = performance.now();
    if (this.gesture.key !== key || now - this.gesture.at > GESTURE_MS) this.gesture.number += 1;
    this.gesture.key = key;
    this.gesture.at = now;
    return `${key}#${this.gesture.number}`.slice(-150);
  }

  /**
   * @param {KeyboardEvent} event
   * @param {string} key
   */
  key(event, key) {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const element = /** @type {HTMLElement} */ (event.currentTarget);
    const step = KEYS[/** @type {keyof typeof KEYS} */ (event.key)];
    if (step) {
      const size = event.shiftKey && step[0] === "third" ? "tenth" : String(step[0]);
      this.hands.turn(key, size, Number(step[1]), this.gestureOf(key));
    } else if (event.key === "Enter") {
      if (this.figures.get(key)?.from) this.hands.own(key);
      else this.type(element, "");
    } else if (event.key === "Delete" || event.key === "Backspace") {
      this.hands.letGo(key);
    } else if (/^[0-9+\-=xoudwc]$/.test(event.key)) {
      this.type(element, event.key);
    } else {
      return;
    }
    event.preventDefault();
    event.stopPropagation();
  }

  /**
   * Drag across a figure, up and right for more; a click makes an inherited one the mood's own.
   *
   * @param {PointerEvent} event
   * @param {HTMLElement} element
   * @param {string} key
   */
  hold(event, element, key) {
    if (event.button !== 0) return;
    event.preventDefault();
    element.focus();
    element.setPointerCapture(event.pointerId);
    const from = { x: event.clientX, y: event.clientY };
    const gesture = `${key}#held ${performance.now()}`.slice(-150);
    let steps = 0;
    let moved = false;
    const move = (/** @type {PointerEvent} */ now) => {
      const way = now.clientX - from.x - (now.clientY - from.y);
      moved = moved || Math.abs(way) > SLACK_PIXELS;
      const wanted = Math.trunc(way / PIXELS_A_STEP);
      if (wanted === steps) return;
      element.classList.add("turning");
      this.hands.turn(key, now.shiftKey ? "tenth" : "third", wanted - steps, gesture);
      steps = wanted;
    };
    const end = () => {
      element.removeEventListener("pointermove", move);
      element.classList.remove("turning");
      if (!moved && this.figures.get(key)?.from) this.hands.own(key);
    };
    element.addEventListener("pointermove", move);
    element.addEventListener("lostpointercapture", end, { once: true });
  }

  /**
   * Type into a figure, in the words of `evenfall change`.
   *
   * @param {HTMLElement} element
   * @param {string} begun
   */
  type(element, begun) {
    const key = element.dataset.key || "";
    const input = document.createElement("input");
    input.className = "figure-input";
    input.type = "text";
    input.maxLength = 200;
    input.spellcheck = false;
    input.setAttribute("aria-label", `${element.getAttribute("aria-label")}, in words`);
    input.value = begun;
    input.placeholder = element.textContent || "";
    input.size = Math.max(8, input.placeholder.length);
    element.replaceWith(input);
    input.focus();
    let done = false;
    const leave = (/** @type {boolean} */ keep) => {
      if (done) return;
      done = true;
      const text = input.value.trim();
      const focused = document.activeElement === input;
      input.replaceWith(element);
      if (focused) element.focus();
      if (keep && text) this.hands.say(key, text);
    };
    input.addEventListener("keydown", (event) => {
      event.stopPropagation();
      if (event.key === "Enter") leave(true);
      if (event.key === "Escape") leave(false);
    });
    input.addEventListener("blur", () => leave(false));
  }

  /**
   * Give the figure that says how strong a light is.
   *
   * @param {string} light
   * @returns {string}
   */
  gainOf(light) {
    const keys = [...this.figures.keys()].filter((key) => key.startsWith("gain:"));
    return keys.find((key) => key.slice(5).split("+").includes(light)) || "";
  }

  /**
   * Mark the clauses of lights.
   *
   * @param {Map<string, number>} shares by light, 0 to 1
   */
  mark(shares) {
    const clauses = /** @type {NodeListOf<HTMLElement>} */ (this.home.querySelectorAll(".clause"));
    for (const clause of clauses) {
      const lights = (clause.dataset.lights || "").split(" ").filter(Boolean);
      const share = lights.reduce((sum, light) => sum + (shares.get(light) || 0), 0);
      clause.classList.toggle("lit", share >= 0.1);
      clause.classList.toggle("bright", share >= 0.4);
      clause.dataset.share = share >= 0.1 ? `${Math.round(100 * share)} %` : "";
    }
  }
}

/**
 * Give the source that all figures of a clause are taken from; empty where it differs.
 *
 * @param {(string | Figure)[]} spans
 * @returns {string}
 */
function commonSource(spans) {
  const sources = spans.filter((span) => typeof span !== "string").map((span) => span.from);
  return sources.every((each) => each === sources[0]) ? sources[0] || "" : "";
}

/**
 * @param {string} source
 * @returns {HTMLElement}
 */
function from(source) {
  const element = document.createElement("span");
  element.className = "from";
  element.textContent = `from ${source.toLowerCase() === "the recipe" ? "the recipe" : source}`;
  return element;
}
