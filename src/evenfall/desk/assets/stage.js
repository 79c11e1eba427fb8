/**
 * The picture: pointed at it answers, pulled it follows, and an area drawn in it is told what to be.
 *
 * @typedef {import("./types.js").Spot} Spot
 * @typedef {{x: number, y: number}} Place as shares of the picture
 * @typedef {{left: number, top: number, right: number, bottom: number}} Area as shares of the picture
 * @typedef {{ask: (place: Place) => void, pull: (count: number, size: string, gesture: string) => void,
 *            pick: (number: number) => void, near: (place: Place) => void,
 *            before: (shown: boolean) => void, drawn: (area: Area | null) => void}} Hands
 */

const PIXELS_A_STEP = 14;
const SLACK_PIXELS = 5;
const MOVE = 0.02;
const WAYS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

/**
 * @param {number} value
 * @returns {number}
 */
const inside = (value) => Math.min(1, Math.max(0, value));

export class Stage {
  /**
   * @param {HTMLElement} stage
   * @param {HTMLElement} frame
   * @param {HTMLElement} spot
   * @param {HTMLElement} area
   * @param {Hands} hands
   */
  constructor(stage, frame, spot, area, hands) {
    this.stage = stage;
    this.frame = frame;
    this.spot = spot;
    this.area = area;
    this.hands = hands;
    /** @type {"look" | "area" | "near"} */
    this.mode = "look";
    /** @type {Place} */
    this.place = { x: 0.5, y: 0.5 };
    /** @type {Area} */
    this.box = { left: 0.4, top: 0.4, right: 0.6, bottom: 0.6 };
    this.isPinned = false;
    this.isHeld = false;
    frame.addEventListener("pointermove", (event) => this.point(event));
    frame.addEventListener("pointerdown", (event) => this.hold(event));
    frame.addEventListener("pointerleave", () => this.leave());
    stage.addEventListener("keydown", (event) => this.key(event));
    stage.addEventListener("keyup", (event) => {
      if (event.key.toLowerCase() === "b") hands.before(false);
    });
    stage.addEventListener("blur", () => hands.before(false));
  }

  /**
   * @param {PointerEvent} event
   * @returns {Place}
   */
  at(event) {
    const box = this.frame.getBoundingClientRect();
    return {
      x: inside((event.clientX - box.left) / box.width),
      y: inside((event.clientY - box.top) / box.height),
    };
  }

  /** @param {"look" | "area" | "near"} mode */
  enter(mode) {
    this.mode = mode;
    this.frame.dataset.mode = mode;
    this.area.hidden = mode !== "area";
    this.spot.hidden = true;
    this.isPinned = false;
    if (mode === "area") this.showArea();
    if (mode === "near") this.hands.near(this.place);
  }

  /** @param {PointerEvent} event */
  point(event) {
    if (this.mode !== "look" || this.isPinned || this.isHeld || event.pointerType === "touch") return;
    this.ask(this.at(event));
  }

  /** @param {Place} place */
  ask(place) {
    this.place = place;
    this.spot.hidden = false;
    this.spot.style.left = `${100 * place.x}%`;
    this.spot.style.top = `${100 * place.y}%`;
    this.hands.ask(place);
  }

  leave() {
    if (this.isPinned || this.isHeld || this.mode !== "look") return;
    if (document.activeElement === this.stage && this.stage.matches(":focus-visible")) return;
    this.spot.hidden = true;
  }

  /** @param {PointerEvent} event */
  hold(event) {
    if (event.button !== 0 || !(event.target instanceof HTMLCanvasElement)) return;
    event.preventDefault();
    this.stage.focus({ preventScroll: true });
    this.frame.setPointerCapture(event.pointerId);
    const begun = this.at(event);
    if (this.mode === "area") this.drag(event, (place) => this.draw(begun, place), () => this.drawn());
    else if (this.mode === "near") this.pan(event);
    else this.pull(event, begun);
  }

  /**
   * @param {PointerEvent} event
   * @param {(place: Place, event: PointerEvent) => void} move
   * @param {() => void} end
   */
  drag(event, move, end) {
    const moved = (/** @type {PointerEvent} */ now) => move(this.at(now), now);
    this.frame.addEventListener("pointermove", moved);
    this.frame.addEventListener(
      "lostpointercapture",
      () => {
        this.frame.removeEventListener("pointermove", moved);
        end();
      },
      { once: true },
    );
  }

  /**
   * Take hold of a spot: up and down turns the light that does most there; a click pins the spot.
   *
   * @param {PointerEvent} event
   * @param {Place} begun
   */
  pull(event, begun) {
    const from = event.clientY;
    const gesture = `pull ${performance.now()}`;
    let steps = 0;
    let moved = false;
    this.isHeld = true;
    if (!this.isPinned || Math.hypot(begun.x - this.place.x, begun.y - this.place.y) > 0.01) {
      this.ask(begun);
    }
    const wasPinned = this.isPinned;
    this.drag(
      event,
      (place, now) => {
        const way = from - now.clientY;
        moved = moved || Math.abs(way) > SLACK_PIXELS;
        const wanted = Math.trunc(way / PIXELS_A_STEP);
        if (wanted !== steps) {
          this.hands.pull(wanted - steps, now.shiftKey ? "tenth" : "third", gesture);
        }
        steps = wanted;
      },
      () => {
        this.isHeld = false;
        this.isPinned = moved ? wasPinned : !wasPinned;
        this.spot.classList.toggle("pinned", this.isPinned);
        if (moved) this.hands.ask(this.place);
      },
    );
  }

  /** @param {PointerEvent} event */
  pan(event) {
    const box = this.frame.getBoundingClientRect();
    const from = { x: event.clientX, y: event.clientY, place: this.place };
    const scale = Number(this.frame.dataset.full) || box.width;
    this.drag(
      event,
      (_, now) => {
        this.place = {
          x: inside(from.place.x - (now.clientX - from.x) / scale),
          y: inside(from.place.y - ((now.clientY - from.y) / scale) * (box.width / box.height)),
        };
      },
      () => this.hands.near(this.place),
    );
  }

  /**
   * @param {Place} one
   * @param {Place} other
   */
  draw(one, other) {
    this.box = {
      left: Math.min(one.x, other.x),
      top: Math.min(one.y, other.y),
      right: Math.max(one.x, other.x),
      bottom: Math.max(one.y, other.y),
    };
    this.showArea();
  }

  drawn() {
    const { left, top, right, bottom } = this.box;
    if (right - left > 0.005 && bottom - top > 0.005) this.hands.drawn(this.box);
  }

  /**
   * Draw where something is, without asking for it.
   *
   * @param {number[]} area left, top, right and bottom; empty for nothing
   */
  outline(area) {
    if (this.mode !== "look") return;
    this.area.hidden = area.length === 0;
    const [left, top, right, bottom] = area;
    if (area.length) this.showArea({ left, top, right, bottom });
  }

  /** @param {Area} [box] */
  showArea(box = this.box) {
    const { left, top, right, bottom } = box;
    this.area.style.left = `${100 * left}%`;
    this.area.style.top = `${100 * top}%`;
    this.area.style.width = `${100 * (right - left)}%`;
    this.area.style.height = `${100 * (bottom - top)}%`;
  }

  /** @param {KeyboardEvent} event */
  key(event) {
    if (event.ctrlKey || event.metaKey || event.altKey || event.target !== this.stage) return;
    const way = WAYS[/** @type {keyof typeof WAYS} */ (event.key)];
    const key = event.key.toLowerCase();
    if (way) this.go(way[0] * MOVE, way[1] * MOVE, event.shiftKey);
    else if (this.mode === "area" && key === "enter") this.drawn();
    else if (key === "escape") this.hands.drawn(null);
    else if (key === "b") this.hands.before(true);
    else if (key === "a" && this.mode === "look") this.hands.drawn({ left: 0, top: 0, right: 0, bottom: 0 });
    else if (this.mode !== "look") return;
    else if (/^[1-9]$/.test(key)) this.hands.pick(Number(key));
    else if (key === "+" || key === "=") this.turn(1, "third");
    else if (key === "-") this.turn(-1, "third");
    else if (key === "pageup") this.turn(1, "stop");
    else if (key === "pagedown") this.turn(-1, "stop");
    else if (key === "enter") this.isPinned = !this.isPinned;
    else return;
    event.preventDefault();
  }

  /**
   * @param {number} count
   * @param {string} size
   */
  turn(count, size) {
    this.hands.pull(count, size, "");
  }

  /**
   * @param {number} x
   * @param {number} y
   * @param {boolean} resizes
   */
  go(x, y, resizes) {
    if (this.mode === "area") {
      const box = this.box;
      box.right = inside(box.right + x);
      box.bottom = inside(box.bottom + y);
      if (!resizes) {
        box.left = inside(box.left + x);
        box.top = inside(box.top + y);
      }
      this.showArea();
    } else if (this.mode === "near") {
      this.place = { x: inside(this.place.x + x), y: inside(this.place.y + y) };
      this.hands.near(this.place);
    } else {
      this.ask({ x: inside(this.place.x + x), y: inside(this.place.y + y) });
    }
  }
}
