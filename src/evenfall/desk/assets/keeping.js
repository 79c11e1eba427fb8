/**
 * Keeping: undo, save, rounds and the run, and what another hand has changed meanwhile.
 *
 * @typedef {import("./types.js").State} State
 * @typedef {(message: object) => void} Say
 */

/**
 * @param {string} id
 * @returns {HTMLElement}
 */
const by = (id) => /** @type {HTMLElement} */ (document.getElementById(id));

export class Keeping {
  /** @param {Say} say sends a message to the desk */
  constructor(say) {
    this.say = say;
    this.replaces = false;
    for (const what of ["undo", "redo", "save"]) by(what).addEventListener("click", () => say({ do: what }));
    by("make").addEventListener("click", () => this.make());
    by("keep-round").addEventListener("click", () => this.open(by("round").hidden));
    by("no-round").addEventListener("click", () => this.open(false));
    by("round").addEventListener("submit", (event) => this.keep(event));
    document.addEventListener("keydown", (event) => this.key(event));
  }

  /** @param {State} state */
  show(state) {
    for (const [id, text] of [["undo", state.undoes], ["redo", state.redoes]]) {
      /** @type {HTMLButtonElement} */ (by(id)).disabled = !text;
      by(id).title = text;
    }
    /** @type {HTMLButtonElement} */ (by("save")).disabled = !state.unsaved;
    this.outside(state);
  }

  /**
   * @param {string} text
   * @param {number} share
   */
  progress(text, share) {
    const bar = /** @type {HTMLProgressElement} */ (by("progress"));
    bar.hidden = !text;
    bar.value = share;
    bar.setAttribute("aria-valuetext", text);
    by("doing").textContent = text;
  }

  /** Let the pictures be made, or those that are there be replaced. @param {boolean} replaces */
  offer(replaces) {
    this.replaces = replaces;
    by("make").textContent = replaces ? "Replace the pictures" : "Make the pictures";
  }

  make() {
    this.say({ do: "make pictures", overwrite: this.replaces });
    this.offer(false);
  }

  /** @param {boolean} isOpen */
  open(isOpen) {
    by("round").hidden = !isOpen;
    by("keep-round").setAttribute("aria-expanded", String(isOpen));
    by(isOpen ? "asked" : "keep-round").focus();
  }

  /** @param {SubmitEvent} event */
  keep(event) {
    event.preventDefault();
    const asked = /** @type {HTMLTextAreaElement} */ (by("asked"));
    const who = /** @type {HTMLInputElement} */ (by("by"));
    this.say({ do: "keep round", asked: asked.value, by: who.value });
    asked.value = "";
    this.open(false);
  }

  /** @param {KeyboardEvent} event */
  key(event) {
    if (!(event.ctrlKey || event.metaKey) || event.altKey) return;
    const key = event.key.toLowerCase();
    const isText = event.target instanceof HTMLInputElement || event.target instanceof HTMLTextAreaElement;
    const keys = { z: event.shiftKey ? "redo" : "undo", y: "redo", s: "save" };
    const what = keys[/** @type {keyof typeof keys} */ (key)];
    if (!what || (what !== "save" && isText)) return;
    event.preventDefault();
    this.say({ do: what });
  }

  /** @param {State} state */
  outside(state) {
    const home = by("outside");
    const mark = JSON.stringify([state.conflict, state.fault]);
    if (home.dataset.mark === mark) return;
    home.dataset.mark = mark;
    home.replaceChildren();
    if (state.conflict) {
      const { theirs, ours, fault } = state.conflict;
      home.append(
        line(`${state.file} was changed by another hand, and so was it here. Nothing is overwritten.`),
        line(`In the file: ${fault || theirs.join("; ") || "the wording only"}`, "soft"),
        line(`Here: ${ours.join("; ") || "the wording only"}`, "soft"),
      );
      const row = line("", "keeping");
      row.append(this.choice("Take the file's", "theirs"), this.choice("Keep mine, to save over it", "ours"));
      home.append(row);
    } else if (state.fault) {
      home.append(
        line("The file cannot be used as it stands now; what is shown is its last sound state."),
        line(state.fault, "soft"),
      );
    }
  }

  /**
   * @param {string} text
   * @param {string} choice
   * @returns {HTMLElement}
   */
  choice(text, choice) {
    const element = document.createElement("button");
    element.type = "button";
    element.textContent = text;
    element.addEventListener("click", () => this.say({ do: "settle", choice }));
    return element;
  }
}

/**
 * @param {string} text
 * @param {string} [kind]
 * @returns {HTMLElement}
 */
function line(text, kind = "") {
  const element = document.createElement("p");
  element.className = kind;
  element.textContent = text;
  return element;
}
