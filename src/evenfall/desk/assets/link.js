/**
 * The socket to the desk: opened again when it breaks; turns of a figure wait for one another.
 *
 * @typedef {import("./types.js").Told} Told
 * @typedef {import("./types.js").Head} Head
 */

const PROTOCOL = "evenfall.desk";
const AGAIN_MS = 1000;

/** Give the token of this start: from the address, or from this window's memory after a reload. */
function token() {
  const given = location.hash.slice(1);
  if (given) {
    sessionStorage.setItem("token", given);
    history.replaceState(null, "", location.pathname);
  }
  return sessionStorage.getItem("token") || "";
}

export class Link {
  /**
   * @param {(told: Told) => void} hear takes what the desk says
   * @param {(head: Head, codes: Uint8ClampedArray<ArrayBuffer>) => void} see takes its pictures
   * @param {(isOpen: boolean, refused: boolean) => void} changed is told how the link stands
   */
  constructor(hear, see, changed) {
    this.hear = hear;
    this.see = see;
    this.changed = changed;
    this.token = token();
    /** @type {WebSocket | null} */
    this.socket = null;
    /** @type {any} turns that wait until the one before them is done */
    this.waiting = null;
    this.isTurning = false;
    this.since = 0; // when a hand began what waits; measured by the benchmark
    this.wasOpen = false;
    this.open();
  }

  open() {
    if (!this.token) {
      this.changed(false, true);
      return;
    }
    const socket = new WebSocket(`ws://${location.host}/socket`, [PROTOCOL, `token.${this.token}`]);
    socket.binaryType = "arraybuffer";
    this.socket = socket;
    socket.onopen = () => {
      this.wasOpen = true;
      this.isTurning = false;
      this.changed(true, false);
    };
    socket.onmessage = (event) => this.take(event.data);
    socket.onclose = () => {
      this.changed(false, !this.wasOpen);
      if (this.wasOpen) setTimeout(() => this.open(), AGAIN_MS);
    };
  }

  /** @param {string | ArrayBuffer} data */
  take(data) {
    if (typeof data === "string") {
      const told = JSON.parse(data);
      this.hear(told);
      if (told.tell === "state") this.nextTurn();
      return;
    }
    const length = new DataView(data).getUint32(0, true);
    const head = JSON.parse(new TextDecoder().decode(new Uint8Array(data, 4, length)));
    this.see(head, new Uint8ClampedArray(data, 4 + length));
  }

  /** @param {object} message */
  say(message) {
    if (this.socket && this.socket.readyState === WebSocket.OPEN) {
      this.socket.send(JSON.stringify(message));
    }
  }

  /**
   * Turn a figure; while one turn is being made, those that follow become one.
   *
   * @param {{mood: string, figure: string, size: string, count: number, gesture: string}} turn
   */
  turn(turn) {
    const last = this.waiting;
    if (last && last.figure === turn.figure && last.mood === turn.mood && last.size === turn.size) {
      last.count += turn.count; // and `since` stays that of the first
    } else if (last) {
      this.say({ do: "turn", ...last });
      this.waiting = { ...turn };
      this.since = performance.now();
    } else {
      this.waiting = { ...turn };
      this.since = performance.now();
    }
    if (!this.isTurning) this.nextTurn();
  }

  nextTurn() {
    this.isTurning = Boolean(this.waiting);
    if (this.waiting) {
      performance.mark("sent", { detail: this.since });
      this.say({ do: "turn", ...this.waiting });
      this.waiting = null;
    }
  }
}
