"use strict";
/**
 * The review page: moods to look at and to lay over one another, and comments on spots in them.
 *
 * Nothing leaves the page but what is saved or copied by hand. Whatever a person or a file brings
 * in is set as text, never as markup.
 *
 * @typedef {{x: number, y: number, w: number, h: number}} Box in per cent of the picture
 * @typedef {{id: string, picture: string, box: Box, text: string, author: string, created: string,
 *            number?: number, answer?: string}} Remark
 * @typedef {{key: string, view: string, mood: string, source: string, title: string, width: number,
 *            height: number}} Shown
 * @typedef {{view: string, stem: string, pictures: Shown[], remarks: Remark[]}} Data
 */
(function () {
  const LONGEST_TEXT = 4000;
  const MOST_REMARKS = 1000;
  const LARGEST_FILE = 4000000;
  const SPOT = 1; // per cent: a box this small is a spot
  const CONTEXT = "http://www.w3.org/ns/anno.jsonld";
  const FRAGMENTS = "http://www.w3.org/TR/media-frags/";

  /** @type {Data} */
  const data = JSON.parse(document.getElementById("page-data").textContent);
  const by = (id) => document.getElementById(id);
  const pictures = new Map(data.pictures.map((shown) => [shown.key, shown]));
  const store = "evenfall:" + data.view;
  const calm = window.matchMedia("(prefers-reduced-motion: reduce)");

  const state = {
    now: data.pictures[0].key,
    other: "",
    edge: 50,
    showsOther: false,
    blinking: 0,
    /** @type {Remark[]} */
    mine: [],
    /** @type {{picture: string, box: Box} | null} */
    asked: null,
  };

  const stage = by("stage");
  const under = by("under");
  const over = by("over");
  const edge = by("edge");
  const choices = Array.from(by("beside").options);
  const isOf = (option, view) => option.value === "" || option.dataset.view === view;

  function element(name, className, text) {
    const made = document.createElement(name);
    if (className) made.className = className;
    if (text !== undefined) {
      made.textContent = text;
      made.dir = "auto";
    }
    return made;
  }

  function sourceOf(key) {
    return document.querySelector('img[data-key="' + CSS.escape(key) + '"]').src;
  }

  function tell(text) {
    by("told").textContent = text;
  }

  // -- looking -------------------------------------------------------------------------------

  function show() {
    const shown = pictures.get(state.now);
    under.src = sourceOf(state.now);
    under.alt = shown.title;
    under.width = shown.width;
    under.height = shown.height;
    stage.style.setProperty("--aspect", String(shown.width / shown.height));
    const compares = state.other !== "";
    over.hidden = edge.hidden = !compares;
    by("blink").hidden = !compares;
    by("left-name").hidden = by("right-name").hidden = !compares;
    if (compares) {
      const other = pictures.get(state.other);
      over.src = sourceOf(state.other);
      over.alt = other.title;
      by("left-name").textContent = shown.title;
      by("right-name").textContent = other.title;
      edge.setAttribute("aria-label", "Edge between " + shown.title + " and " + other.title);
    }
    for (const button of document.querySelectorAll(".moods button")) {
      button.setAttribute("aria-pressed", String(button.dataset.key === state.now));
    }
    for (const button of document.querySelectorAll(".views button")) {
      button.setAttribute("aria-pressed", String(button.dataset.view === shown.view));
    }
    for (const moods of document.querySelectorAll(".moods")) {
      moods.hidden = moods.dataset.view !== shown.view;
    }
    by("beside").replaceChildren(...choices.filter((each) => isOf(each, shown.view)));
    for (const option of by("beside").options) option.disabled = option.value === state.now;
    by("beside").value = state.other;
    placeEdge();
    drawPins();
  }

  function placeEdge() {
    const blinks = state.blinking !== 0 || state.showsOther;
    edge.hidden = state.other === "" || blinks;
    by("left-name").hidden = state.other === "" || (blinks && state.showsOther);
    by("right-name").hidden = state.other === "" || (blinks && !state.showsOther);
    const from = blinks ? (state.showsOther ? 0 : 100) : state.edge;
    over.style.clipPath = "inset(0 0 0 " + from + "%)";
    edge.style.left = state.edge + "%";
    edge.setAttribute("aria-valuenow", String(Math.round(state.edge)));
  }

  function setEdge(share) {
    state.edge = Math.min(100, Math.max(0, share));
    placeEdge();
    drawPins();
  }

  function stopBlinking() {
    window.clearInterval(state.blinking);
    state.blinking = 0;
    state.showsOther = false;
    by("blink").setAttribute("aria-pressed", "false");
  }

  function blink() {
    if (state.blinking !== 0) {
      stopBlinking();
    } else if (calm.matches) {
      state.showsOther = !state.showsOther;
      by("blink").setAttribute("aria-pressed", String(state.showsOther));
    } else {
      by("blink").setAttribute("aria-pressed", "true");
      state.blinking = window.setInterval(() => {
        state.showsOther = !state.showsOther;
        placeEdge();
        drawPins();
      }, 800);
    }
    placeEdge();
    drawPins();
  }

  function choose(key) {
    stopBlinking();
    const apart = state.other !== "" && pictures.get(state.other).view !== pictures.get(key).view;
    if (state.other === key || apart) state.other = "";
    state.now = key;
    discard();
    show();
  }

  /** Go on to another view, in the same mood where it has that. */
  function chooseView(view) {
    const mood = pictures.get(state.now).mood;
    const there = data.pictures.filter((shown) => shown.view === view);
    choose((there.find((shown) => shown.mood === mood) || there[0]).key);
  }

  // -- remarks on spots -----------------------------------------------------------------------

  const all = () => data.remarks.concat(state.mine);

  function labelOf(remark) {
    if (remark.number !== undefined) return String(remark.number);
    return String.fromCharCode(97 + (state.mine.indexOf(remark) % 26));
  }

  /** Which picture is seen at a place across, in per cent. */
  function seenAt(across) {
    if (state.other === "") return state.now;
    if (state.blinking !== 0 || state.showsOther) return state.showsOther ? state.other : state.now;
    return across < state.edge ? state.now : state.other;
  }

  const middle = (box) => ({ x: box.x + box.w / 2, y: box.y + box.h / 2 });
  const isSpot = (box) => box.w <= SPOT && box.h <= SPOT;

  function place(mark, box) {
    mark.style.left = box.x + "%";
    mark.style.top = box.y + "%";
    mark.style.width = box.w + "%";
    mark.style.height = box.h + "%";
  }

  function marksOf(remark, isButton) {
    const at = middle(remark.box);
    const pin = element(isButton ? "button" : "span", "pin", labelOf(remark));
    pin.style.left = at.x + "%";
    pin.style.top = at.y + "%";
    pin.classList.toggle("mine", remark.number === undefined);
    if (isButton) {
      pin.type = "button";
      pin.setAttribute("aria-label", "Comment " + labelOf(remark) + ": " + remark.text.slice(0, 80));
      pin.addEventListener("click", () => {
        const line = by("remark-" + remark.id);
        line.scrollIntoView({ block: "center" });
        line.focus();
      });
    }
    if (isSpot(remark.box)) return [pin];
    const area = element("span", "area");
    place(area, remark.box);
    return [area, pin];
  }

  function drawPins() {
    const layer = by("pins");
    layer.replaceChildren();
    for (const remark of all()) {
      if (seenAt(middle(remark.box).x) === remark.picture) layer.append(...marksOf(remark, true));
    }
  }

  function drawGalleryPins() {
    for (const layer of document.querySelectorAll("[data-pins]")) {
      layer.replaceChildren();
      for (const remark of all()) {
        if (remark.picture === layer.dataset.pins) layer.append(...marksOf(remark, false));
      }
    }
  }

  function ask(picture, box) {
    state.asked = { picture: picture, box: box };
    place(by("asked"), box);
    by("asked").hidden = false;
    by("asked-where").textContent = "On " + pictures.get(picture).title;
    by("form").hidden = false;
    by("text-wrong").textContent = "";
  }

  function discard() {
    state.asked = null;
    by("asked").hidden = true;
    by("form").hidden = true;
    by("text").value = "";
  }

  function keep(event) {
    event.preventDefault();
    const text = by("text").value.trim();
    if (state.asked === null) return;
    if (text === "") {
      by("text-wrong").textContent = "Write what you would like to say about this spot.";
      by("text").focus();
      return;
    }
    state.mine.push({
      id: "urn:uuid:" + uuid(),
      picture: state.asked.picture,
      box: state.asked.box,
      text: text.slice(0, LONGEST_TEXT),
      author: by("author").value.trim(),
      created: new Date().toISOString(),
    });
    discard();
    remember();
    list();
    drawPins();
    tell("Comment kept in this browser. Save all comments when you are done, and send the file.");
    by("comment").focus();
  }

  function uuid() {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    bytes[6] = (bytes[6] & 15) | 64;
    bytes[8] = (bytes[8] & 63) | 128;
    const hex = Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
    return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
  }

  function remember() {
    try {
      const kept = { author: by("author").value, remarks: state.mine };
      window.localStorage.setItem(store, JSON.stringify(kept));
    } catch (error) {
      tell("This browser does not keep comments: save them before you close the page.");
    }
  }

  function recall() {
    try {
      const kept = JSON.parse(window.localStorage.getItem(store) || "{}");
      by("author").value = typeof kept.author === "string" ? kept.author : "";
      takeIn(Array.isArray(kept.remarks) ? kept.remarks : []);
    } catch (error) {
      tell("Comments of an earlier visit could not be read.");
    }
  }

  /** Take in remarks that are sound and new; gives how many. */
  function takeIn(remarks) {
    const known = new Set(all().map((remark) => remark.id));
    let taken = 0;
    for (const remark of remarks) {
      if (!isSound(remark) || known.has(remark.id) || all().length >= MOST_REMARKS) continue;
      known.add(remark.id);
      state.mine.push(remark);
      taken += 1;
    }
    return taken;
  }

  function isSound(remark) {
    if (typeof remark !== "object" || remark === null) return false;
    const texts = [remark.id, remark.text, remark.author, remark.created];
    if (texts.some((text) => typeof text !== "string")) return false;
    if (!pictures.has(remark.picture) || remark.text.length > LONGEST_TEXT) return false;
    const box = remark.box || {};
    const sides = [box.x, box.y, box.w, box.h];
    return (
      sides.every((side) => Number.isFinite(side) && side >= 0) &&
      box.x + box.w <= 100.01 &&
      box.y + box.h <= 100.01
    );
  }

  function list() {
    const lines = by("mine");
    lines.replaceChildren();
    for (const remark of state.mine) {
      const line = element("li");
      line.id = "remark-" + remark.id;
      line.tabIndex = -1;
      line.append(element("span", "number", labelOf(remark)));
      const said = element("div");
      said.append(element("div", "said", remark.text));
      const who = [pictures.get(remark.picture).title, remark.author].filter(Boolean).join(" · ");
      said.append(element("div", "soft", who));
      line.append(said);
      const away = element("button", "noprint", "Remove");
      away.type = "button";
      away.setAttribute("aria-label", "Remove comment " + labelOf(remark));
      away.addEventListener("click", () => {
        state.mine.splice(state.mine.indexOf(remark), 1);
        remember();
        list();
        drawPins();
        tell("Comment removed.");
        by("comment").focus();
      });
      line.append(away);
      lines.append(line);
    }
    const none = all().length === 0;
    by("none").hidden = !none;
    by("outgoing").hidden = state.mine.length === 0;
    by("as-text").value = asText();
    drawGalleryPins();
  }

  // -- in and out -------------------------------------------------------------------------------

  const round = (value) => Math.round(value * 100) / 100;

  /** W3C Web Annotation Data Model: one page of annotations. */
  function asAnnotations() {
    return {
      "@context": CONTEXT,
      id: "urn:uuid:" + uuid(),
      type: "AnnotationPage",
      items: state.mine.map((remark) => ({
        id: remark.id,
        type: "Annotation",
        motivation: "commenting",
        created: remark.created,
        creator: { type: "Person", name: remark.author },
        body: { type: "TextualBody", value: remark.text, format: "text/plain" },
        target: {
          source: pictures.get(remark.picture).source,
          selector: {
            type: "FragmentSelector",
            conformsTo: FRAGMENTS,
            value:
              "xywh=percent:" +
              [remark.box.x, remark.box.y, remark.box.w, remark.box.h].map(round).join(","),
          },
        },
      })),
    };
  }

  function fromAnnotations(file) {
    if (typeof file !== "object" || file === null || !Array.isArray(file.items)) {
      throw new Error("it holds no comments");
    }
    const sources = new Map(data.pictures.map((shown) => [shown.source, shown.key]));
    const found = [];
    let foreign = 0;
    for (const item of file.items.slice(0, MOST_REMARKS)) {
      const target = (item && item.target) || {};
      const picture = sources.get(target.source);
      const said = String((target.selector || {}).value || "");
      const box = /^xywh=percent:([\d.]+),([\d.]+),([\d.]+),([\d.]+)$/.exec(said);
      if (picture === undefined || box === null) {
        foreign += 1;
        continue;
      }
      const [x, y, w, h] = box.slice(1).map(Number);
      found.push({
        id: String(item.id),
        picture: picture,
        box: { x: x, y: y, w: w, h: h },
        text: String((item.body || {}).value || ""),
        author: String((item.creator || {}).name || ""),
        created: String(item.created || ""),
      });
    }
    return { found: found, foreign: foreign };
  }

  function asText() {
    return state.mine
      .map((remark) => {
        const at = middle(remark.box);
        const where =
          pictures.get(remark.picture).title +
          ", " +
          Math.round(at.x) +
          " % across, " +
          Math.round(at.y) +
          " % down";
        return [where, remark.author].filter(Boolean).join(", ") + ":\n" + remark.text;
      })
      .join("\n\n");
  }

  function save() {
    const text = JSON.stringify(asAnnotations(), null, 1);
    const link = element("a");
    link.href = URL.createObjectURL(new Blob([text], { type: "application/json" }));
    const who = by("author").value.trim().replace(/[^\p{L}\p{N}]+/gu, "_").slice(0, 40);
    link.download = [data.stem, "comments", who].filter(Boolean).join("_") + ".json";
    link.click();
    window.setTimeout(() => URL.revokeObjectURL(link.href), 10000);
    tell("Saved as " + link.download + ". Send this file back.");
  }

  async function copy() {
    const text = by("as-text");
    try {
      await navigator.clipboard.writeText(text.value);
      tell("Copied.");
    } catch (error) {
      text.closest("details").open = true;
      text.select();
      tell("Press the keys for copying: the text is selected.");
    }
  }

  async function bring(event) {
    for (const file of event.target.files) {
      try {
        if (file.size > LARGEST_FILE) throw new Error("it is larger than 4 MB");
        const { found, foreign } = fromAnnotations(JSON.parse(await file.text()));
        const taken = takeIn(found);
        const rest = foreign ? ", " + foreign + " are of other pictures" : "";
        tell(file.name + ": " + taken + (taken === 1 ? " comment" : " comments") + " new" + rest + ".");
      } catch (error) {
        const why = error instanceof SyntaxError ? "it is no comments file" : error.message;
        tell(file.name + " was not taken in: " + why + ".");
      }
    }
    event.target.value = "";
    remember();
    list();
    drawPins();
  }

  // -- hands and keys ---------------------------------------------------------------------------

  function placeOf(event) {
    const frame = stage.getBoundingClientRect();
    const clip = (share) => Math.min(100, Math.max(0, 100 * share));
    return {
      x: clip((event.clientX - frame.left) / frame.width),
      y: clip((event.clientY - frame.top) / frame.height),
    };
  }

  function boxBetween(from, to) {
    const box = {
      x: Math.min(from.x, to.x),
      y: Math.min(from.y, to.y),
      w: Math.abs(from.x - to.x),
      h: Math.abs(from.y - to.y),
    };
    return box.w < SPOT && box.h < SPOT ? spotAt(from) : box;
  }

  function spotAt(at) {
    const half = SPOT / 2;
    const inside = (value) => Math.min(100 - SPOT, Math.max(0, value - half));
    return { x: inside(at.x), y: inside(at.y), w: SPOT, h: SPOT };
  }

  let began = null;
  stage.addEventListener("pointerdown", (event) => {
    if (event.button !== 0 || event.target.closest(".pin, .edge, .asked")) return;
    began = placeOf(event);
    if (event.pointerType === "mouse") {
      stage.setPointerCapture(event.pointerId);
      event.preventDefault();
    }
  });
  stage.addEventListener("pointermove", (event) => {
    if (began === null || event.pointerType !== "mouse") return;
    ask(seenAt(began.x), boxBetween(began, placeOf(event)));
  });
  stage.addEventListener("pointercancel", () => {
    began = null;
  });
  stage.addEventListener("pointerup", (event) => {
    if (began === null) return;
    const to = placeOf(event);
    ask(seenAt(began.x), event.pointerType === "mouse" ? boxBetween(began, to) : spotAt(to));
    began = null;
    by("text").focus();
  });

  by("comment").addEventListener("click", () => {
    stopBlinking();
    placeEdge();
    ask(seenAt(50), spotAt({ x: 50, y: 50 }));
    by("asked").focus();
    tell("Arrow keys move the spot, with Shift they make it an area; Enter goes on to the text.");
  });
  by("asked").addEventListener("keydown", (event) => {
    const moves = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    if (event.key === "Enter") {
      event.preventDefault();
      by("text").focus();
    }
    if (event.key === "Escape") {
      discard();
      by("comment").focus();
    }
    if (!(event.key in moves) || state.asked === null) return;
    event.preventDefault();
    const [across, down] = moves[event.key];
    const box = Object.assign({}, state.asked.box);
    if (event.shiftKey) {
      box.w = Math.min(100 - box.x, Math.max(SPOT, box.w + across));
      box.h = Math.min(100 - box.y, Math.max(SPOT, box.h + down));
    } else {
      box.x = Math.min(100 - box.w, Math.max(0, box.x + across));
      box.y = Math.min(100 - box.h, Math.max(0, box.y + down));
    }
    ask(seenAt(middle(box).x), box);
    const at = middle(box);
    by("asked").setAttribute(
      "aria-label",
      "Spot at " + Math.round(at.x) + " % across, " + Math.round(at.y) + " % down",
    );
  });

  edge.addEventListener("pointerdown", (event) => {
    edge.setPointerCapture(event.pointerId);
    event.preventDefault();
    edge.focus();
  });
  edge.addEventListener("pointermove", (event) => {
    if (edge.hasPointerCapture(event.pointerId)) setEdge(placeOf(event).x);
  });
  edge.addEventListener("keydown", (event) => {
    const steps = { ArrowLeft: -2, ArrowRight: 2, PageDown: -10, PageUp: 10, Home: -100, End: 100 };
    if (!(event.key in steps)) return;
    event.preventDefault();
    setEdge(state.edge + steps[event.key]);
  });

  by("beside").addEventListener("change", (event) => {
    stopBlinking();
    state.other = event.target.value;
    state.edge = 50;
    show();
  });
  by("blink").addEventListener("click", blink);
  by("form").addEventListener("submit", keep);
  by("form").addEventListener("keydown", (event) => {
    if (event.key !== "Escape") return;
    discard();
    by("comment").focus();
  });
  by("discard").addEventListener("click", () => {
    discard();
    by("comment").focus();
  });
  by("author").addEventListener("change", remember);
  by("save").addEventListener("click", save);
  by("copy").addEventListener("click", copy);
  by("bring").addEventListener("change", bring);
  for (const button of document.querySelectorAll(".moods button")) {
    button.addEventListener("click", () => choose(button.dataset.key));
  }
  for (const button of document.querySelectorAll(".views button")) {
    button.addEventListener("click", () => chooseView(button.dataset.view));
  }

  by("viewer").hidden = false;
  by("tools").hidden = false;
  by("gallery").hidden = true;
  recall();
  list();
  show();
})();
