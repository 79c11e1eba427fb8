/**
 * Ways to look: before, two beside one another, maps, one light alone, and one pixel a pixel.
 *
 * @typedef {import("./types.js").State} State
 * @typedef {import("./types.js").Scale} Scale
 * @typedef {{beside: string, besideOf: string, only: string, without: string, shows: string}} View
 */

/**
 * @param {string} id
 * @returns {HTMLElement}
 */
const by = (id) => /** @type {HTMLElement} */ (document.getElementById(id));
const EDGE_STEP = 2;

export class Looking {
  /** @param {() => void} changed is called when something else is to be seen */
  constructor(changed) {
    this.changed = changed;
    /** @type {View} */
    this.view = { beside: "", besideOf: "now", only: "", without: "", shows: "picture" };
    this.edge = 50;
    /** @type {Scale | null} */
    this.scale = null;
    this.besideWhat = /** @type {HTMLSelectElement} */ (by("beside-what"));
    this.litBy = /** @type {HTMLSelectElement} */ (by("lit-by"));
    this.besideWhat.addEventListener("change", () => this.chooseBeside());
    this.litBy.addEventListener("change", () => this.chooseLight());
    for (const button of /** @type {NodeListOf<HTMLElement>} */ (
      document.querySelectorAll("[data-shows]")
    )) {
      button.addEventListener("click", () => this.show(button.dataset.shows || "picture"));
    }
    this.bindEdge();
  }

  /** @param {State} state */
  fill(state) {
    const standings = [["now", ""], ["saved", ", as saved"]];
    for (const round of state.rounds) standings.push([`round ${round.number}`, `, round ${round.number}`]);
    options(this.besideWhat, [
      ["", "nothing"],
      ...state.moods.flatMap((mood) =>
        standings.map(([of, said]) => [`${of}|${mood.name}`, `${mood.title}${said}`]),
      ),
    ]);
    const lights = Object.entries(state.lights);
    options(this.litBy, [
      ["", "all lights"],
      ...lights.map(([name, title]) => [`only|${name}`, `${title} alone`]),
      ...lights.map(([name, title]) => [`without|${name}`, `all but ${title}`]),
    ]);
  }

  chooseBeside() {
    const [of, mood] = this.besideWhat.value.split("|");
    this.view.besideOf = mood ? of : "now";
    this.view.beside = mood || "";
    this.place();
    this.changed();
  }

  chooseLight() {
    const [how, light] = this.litBy.value.split("|");
    this.view.only = how === "only" ? light : "";
    this.view.without = how === "without" ? light : "";
    this.changed();
  }

  /** @param {string} what */
  show(what) {
    this.view.shows = this.view.shows === what ? "picture" : what;
    for (const button of /** @type {NodeListOf<HTMLElement>} */ (
      document.querySelectorAll("[data-shows]")
    )) {
      button.setAttribute("aria-pressed", String(button.dataset.shows === this.view.shows));
    }
    this.drawScale();
    this.changed();
  }

  drawScale() {
    const home = by("scale");
    const canvas = /** @type {HTMLCanvasElement} */ (home.querySelector("canvas"));
    const scale = this.scale;
    home.hidden = this.view.shows !== "exposure" || !scale;
    const context = canvas.getContext("2d");
    if (home.hidden || !scale || !context) return;
    by("darkest").textContent = `${-scale.darkest} stops below grey`;
    by("brightest").textContent = `${scale.brightest} above`;
    const width = canvas.width / scale.colours.length;
    scale.colours.forEach((rgb, index) => {
      context.fillStyle = `rgb(${rgb.join(",")})`;
      context.fillRect(index * width, 0, width + 1, canvas.height);
    });
  }

  /** Show the edge where two pictures lie beside one another. */
  place() {
    const isOn = Boolean(this.view.beside);
    const edge = by("edge");
    edge.hidden = !isOn;
    by("left-name").hidden = !isOn;
    by("right-name").hidden = !isOn;
    if (!isOn) by("beside").hidden = true;
    edge.style.left = `${this.edge}%`;
    edge.setAttribute("aria-valuenow", String(Math.round(this.edge)));
    by("beside").style.clipPath = `inset(0 0 0 ${this.edge}%)`;
    by("right-name").textContent = this.besideWhat.selectedOptions[0]?.textContent || "";
  }

  bindEdge() {
    const edge = by("edge");
    const frame = by("frame");
    const set = (/** @type {number} */ value) => {
      this.edge = Math.min(100, Math.max(0, value));
      this.place();
    };
    edge.addEventListener("keydown", (event) => {
      const ways = { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1 };
      const way = ways[/** @type {keyof typeof ways} */ (event.key)];
      if (way) set(this.edge + way * EDGE_STEP);
      else if (event.key === "Home") set(0);
      else if (event.key === "End") set(100);
      else return;
      event.preventDefault();
      event.stopPropagation();
    });
    edge.addEventListener("pointerdown", (event) => {
      event.stopPropagation();
      edge.setPointerCapture(event.pointerId);
      const move = (/** @type {PointerEvent} */ now) => {
        const box = frame.getBoundingClientRect();
        set((100 * (now.clientX - box.left)) / box.width);
      };
      edge.addEventListener("pointermove", move);
      edge.addEventListener("lostpointercapture", () => edge.removeEventListener("pointermove", move), {
        once: true,
      });
    });
  }
}

/**
 * Fill a list, and keep what was chosen where it is still there.
 *
 * @param {HTMLSelectElement} list
 * @param {string[][]} entries values and texts
 */
function options(list, entries) {
  const mark = JSON.stringify(entries);
  if (list.dataset.mark === mark) return;
  const chosen = list.value;
  list.dataset.mark = mark;
  list.replaceChildren(...entries.map(([value, text]) => new Option(text, value)));
  if (entries.some(([value]) => value === chosen)) list.value = chosen;
}
