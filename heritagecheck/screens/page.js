// A page that Python writes and the browser shows: what is typed or pressed goes to Python, and the
// page that comes back is patched in, so that focus, caret and scroll place stay where they are.

const TYPED_AFTER_MS = 150; // a pause in typing after which a draft is sent
const ALIVE_EVERY_MS = 3000;
const LOST_AFTER_MS = 5000;
const PIECE = 512 * 1024; // bytes of a file in one message: a Jupyter server takes up to 10 MB
const MOST_PICTURES = 80; // of more, those that are not shown are let go
const KEPT = "data-keep"; // attributes that belong to the browser, such as the part of a picture shown

function patch(old, fresh, page) {
  const kept = (old.getAttribute(KEPT) || "").split(" ");
  // What a person unfolded stays so, whatever others change meanwhile.
  if (old.localName === "details") kept.push("open");
  for (const { name } of [...old.attributes]) {
    if (!fresh.hasAttribute(name) && !kept.includes(name)) old.removeAttribute(name);
  }
  for (const { name, value } of fresh.attributes) {
    if (old.getAttribute(name) !== value && !kept.includes(name)) old.setAttribute(name, value);
  }
  patchChildren(old, fresh, page);
  if (old.matches("input, textarea, select") && old.type !== "file") keepInHand(old, fresh, page);
}

function keepInHand(field, fresh, page) {
  // What a person is typing, or what Python has not read yet, is never overwritten.
  if (page.isTyping(field)) return;
  if (field.type === "radio" || field.type === "checkbox") field.checked = fresh.hasAttribute("checked");
  else if (field.value !== fresh.value) field.value = fresh.value;
}

function patchChildren(old, fresh, page) {
  const known = new Map([...old.children].filter((one) => one.id).map((one) => [one.id, one]));
  let place = old.firstChild;
  for (const child of [...fresh.childNodes]) {
    let same = child.id ? known.get(child.id) : null;
    if (!same && !child.id) {
      same = place;
      while (same && same.id) same = same.nextSibling;
      if (same && same.nodeName !== child.nodeName) same = null;
    }
    if (same && same.nodeName !== child.nodeName) same = null;
    if (!same) {
      old.insertBefore(document.importNode(child, true), place);
      continue;
    }
    if (same !== place) old.insertBefore(same, place);
    else place = place.nextSibling;
    if (same.nodeType === Node.ELEMENT_NODE) patch(same, child, page);
    else if (same.nodeValue !== child.nodeValue) same.nodeValue = child.nodeValue;
  }
  while (place) {
    const next = place.nextSibling;
    place.remove();
    place = next;
  }
}

class Page {
  constructor(model, root) {
    this.model = model;
    this.root = root;
    this.number = 0;
    this.sent = new Map(); // events that Python has not answered yet, by number
    this.waiting = new Map(); // typed values of fields that are not sent yet, by name
    this.timer = null;
    this.answered = Date.now();
    this.pictures = new Map();
    this.part = model.get("part");
    this.inApp = !this.part && window.location.pathname.includes("/voila/");
    this.store = `page ${model.get("kept_as")}`;
    this.body = document.createElement("div");
    this.badge = document.createElement("div");
    this.badge.className = "badge";
    this.badge.hidden = this.part;
    this.badge.setAttribute("role", "status");
    root.replaceChildren(this.body, this.badge);
  }

  begin(signal) {
    const listen = (name, act, where = this.root) => where.addEventListener(name, act, { signal });
    listen("click", (event) => this.clicked(event));
    listen("input", (event) => this.typed(event.target));
    listen("change", (event) => this.changed(event.target));
    listen("focusout", (event) => this.left(event.target));
    listen("keydown", (event) => this.key(event));
    listen("paste", (event) => this.pasted(event));
    if (this.inApp) listen("popstate", () => this.send("go", { arg: this.hash() }), window);
    this.model.on("change:html", () => this.show());
    this.model.on("change:route", () => this.follow());
    this.model.on("msg:custom", (message, buffers) => this.heard(message, buffers));
    const ticking = setInterval(() => this.tick(), ALIVE_EVERY_MS / 3);
    signal.addEventListener("abort", () => clearInterval(ticking));
    this.pointing = new Pointing(this, signal);
    // What was typed while nobody listened is told again; to say it twice does no harm. It is read
    // before anything is sent, because what is sent takes its place.
    const left = this.part ? [] : JSON.parse(localStorage.getItem(this.store) || "[]");
    this.show();
    if (this.part) return;
    const before = this.inApp ? this.hash() : "";
    this.send("open", { arg: before, value: localStorage.getItem("page who") || "" });
    for (const { do: what, ...one } of left) this.send(what || "type", one);
  }

  hash() {
    const written = window.location.hash.slice(1);
    // A stray percent sign in an address names no screen.
    return /%(?![0-9a-f]{2})/i.test(written) ? "" : decodeURIComponent(written);
  }

  remember() {
    this.root.dataset.waiting = this.waiting.size + [...this.sent.values()].filter((one) => one.do !== "alive").length;
    if (this.part) return;
    const typed = [...this.sent.values()].filter((one) => one.do === "type" || one.once);
    const waiting = [...this.waiting].map(([name, value]) => ({ name, value }));
    const left = [...typed, ...waiting].map(({ number, route, ...one }) => ({
      ...one, route: route || this.model.get("route"),
    }));
    if (!left.length) localStorage.removeItem(this.store);
    else {
      try {
        localStorage.setItem(this.store, JSON.stringify(left));
      } catch (error) {
        // The browser keeps a few megabytes; what is more goes to Python all the same.
        if (error.name !== "QuotaExceededError") throw error;
      }
    }
  }

  send(what, more = {}, buffers = []) {
    this.number += 1;
    const event = { number: this.number, do: what, route: this.model.get("route"), ...more };
    if (!this.sent.size && Date.now() - this.answered > ALIVE_EVERY_MS) this.answered = Date.now();
    this.sent.set(this.number, event);
    this.remember();
    this.model.send(event, undefined, buffers);
    return this.number;
  }

  flush() {
    clearTimeout(this.timer);
    for (const [name, value] of this.waiting) this.send("type", { name, value });
    this.waiting.clear();
    this.remember();
  }

  // A field in hand, or one of which something is still on its way.
  isTyping(field) {
    if (this.waiting.has(field.name)) return true;
    if ([...this.sent.values()].some((one) => one.do === "type" && one.name === field.name)) return true;
    return field === document.activeElement && /^(text|search|)$/.test(field.type) && !this.pressed;
  }

  show() {
    const fresh = document.createElement("template");
    fresh.innerHTML = `<div>${this.model.get("html")}</div>`;
    patchChildren(this.body, fresh.content.firstChild, this);
    this.fillPictures();
    this.pointing.measureAll();
    this.moveFocus();
    document.title = this.body.querySelector("[data-title]")?.dataset.title || document.title;
  }

  // Python names the field that is to be typed next, once.
  moveFocus() {
    const next = this.body.querySelector("[data-focus]");
    const wish = next?.dataset.focus;
    if (!next || wish === this.wished) return;
    this.wished = wish;
    next.focus();
    if (next.select) next.select();
    next.scrollIntoView({ block: "nearest" });
  }

  follow() {
    const route = this.model.get("route");
    if (this.inApp && this.hash() !== route) history.pushState(null, "", `#${encodeURIComponent(route)}`);
    window.scrollTo(0, 0);
  }

  fillPictures() {
    for (const one of this.body.querySelectorAll("[data-picture]")) {
      const name = one.dataset.picture;
      const address = this.pictures.get(name);
      if (address === undefined) {
        this.pictures.set(name, "");
        this.send("picture", { arg: name });
      } else if (address) {
        one.setAttribute(one.localName === "image" ? "href" : "src", address);
      }
    }
    for (const [name, address] of this.pictures) {
      if (this.pictures.size <= MOST_PICTURES) break;
      if (!address || this.body.querySelector(`[data-picture="${CSS.escape(name)}"]`)) continue;
      URL.revokeObjectURL(address);
      this.pictures.delete(name);
    }
  }

  heard(message, buffers) {
    this.answered = Date.now();
    if (message.who !== undefined && !this.part) localStorage.setItem("page who", message.who);
    // One that is there no more is asked for again when the page changes.
    if (message.picture && !message.kind) this.pictures.delete(message.picture);
    else if (message.picture) {
      const blob = new Blob([buffers[0]], { type: message.kind });
      this.pictures.set(message.picture, URL.createObjectURL(blob));
      this.fillPictures();
    }
    if (message.answered) {
      this.sent.delete(message.answered);
      // Until a press is answered, what Python writes into the field in hand is shown.
      if (message.answered === this.pressed) this.pressed = 0;
      this.remember();
      this.piece?.(message.answered);
    }
    this.tick();
  }

  // Whether Python still listens: a badge says so, in words and not by colour alone.
  tick() {
    const idle = Date.now() - this.answered;
    if (!this.part && !this.sent.size && idle > ALIVE_EVERY_MS) this.send("alive");
    const lost = this.sent.size && idle > LOST_AFTER_MS;
    const busy = this.sent.size && [...this.sent.values()].some((one) => one.do !== "alive") && idle > 400;
    const state = lost ? "lost" : busy ? "busy" : "here";
    // Of a dozen parts of a notebook only the one that waits says so.
    this.badge.hidden = this.part && state === "here";
    if (this.badge.dataset.state === state) return;
    this.badge.dataset.state = state;
    this.badge.textContent = {
      lost: "No answer from the program. What you type is kept in this browser. ",
      busy: "Working …",
      here: "Connected",
    }[state];
    if (lost) {
      const again = document.createElement("button");
      again.textContent = "Reload the page";
      again.addEventListener("click", () => window.location.reload());
      this.badge.append(again);
    }
  }

  typed(field) {
    if (!field.name || field.type === "file") return;
    this.waiting.set(field.name, field.type === "checkbox" ? (field.checked ? "yes" : "") : field.value);
    this.remember();
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.flush(), TYPED_AFTER_MS);
  }

  changed(field) {
    if (field.type === "file" && field.files.length) this.take(field, [...field.files]);
    else if (field.matches("select, [type=radio], [type=checkbox]")) {
      this.typed(field);
      this.flush();
    }
  }

  left(field) {
    if (!field.name || !field.matches("input[type=text], input:not([type]), textarea")) return;
    this.flush();
    this.send("leave", { name: field.name });
  }

  clicked(event) {
    const pressed = event.target.closest("[data-do]");
    if (!pressed || pressed.matches("input, [data-points]") || pressed.disabled) return;
    event.preventDefault();
    this.press(pressed);
  }

  press(element) {
    this.flush();
    this.pressed = this.send(element.dataset.do, { arg: element.dataset.arg || "" });
  }

  key(event) {
    const field = event.target;
    if (event.key === "Enter" && field.dataset?.line) {
      event.preventDefault();
      this.finished(field);
      return;
    }
    if (event.key === "Enter" && field.dataset?.enter) {
      event.preventDefault();
      this.flush();
      this.pressed = this.send(field.dataset.enter, { arg: field.dataset.arg || "", name: field.name });
      return;
    }
    // Outlines and list entries that can be chosen are pressed by the keyboard like buttons.
    if ((event.key === "Enter" || event.key === " ") && field.matches?.("[data-do]:not(button, a, input)")) {
      event.preventDefault();
      this.press(field);
    }
    this.walk(event);
    this.inGrid(event);
  }

  // In a grid, arrow keys go from cell to cell; a letter presses the button of the cell that names it.
  inGrid(event) {
    const cell = event.target.closest?.("[data-cell]");
    if (!cell || event.ctrlKey || event.metaKey || event.altKey || event.target.matches("input, textarea")) return;
    const steps = { ArrowDown: [1, 0], ArrowUp: [-1, 0], ArrowRight: [0, 1], ArrowLeft: [0, -1] };
    const step = steps[event.key];
    if (step) {
      const [row, column] = cell.dataset.cell.split(".").map(Number);
      const next = cell.closest("[data-grid]").querySelector(`[data-cell="${row + step[0]}.${column + step[1]}"]`);
      if (!next) return;
      event.preventDefault();
      const place = [...cell.querySelectorAll("button")].indexOf(event.target);
      const buttons = next.querySelectorAll("button");
      (buttons[place] || buttons[0])?.focus();
      return;
    }
    const named = [...cell.querySelectorAll("[data-key]")].find((one) => one.dataset.key === event.key.toLowerCase());
    if (!named) return;
    event.preventDefault();
    this.press(named);
  }

  // A line of boxes that is finished goes to Python at once and makes room for the next, so that
  // nobody waits between two readings. It bears a mark, so that one told again is taken once.
  finished(field) {
    const boxes = [...this.body.querySelectorAll("[data-line]")].filter((one) => one.dataset.line === field.dataset.line);
    const next = boxes[boxes.indexOf(field) + 1];
    const whole = /[\s;]|,.*,/.test(field.value.trim()) || !/\d/.test(field.value);
    if (next && !whole) {
      next.focus();
      next.select();
      return;
    }
    const value = boxes.map((one) => one.value.trim()).filter(Boolean).join("\t");
    for (const one of boxes) {
      one.value = "";
      this.waiting.delete(one.name);
    }
    boxes[0].focus();
    // What else was typed, such as the state of the stone, comes first.
    this.flush();
    const once = `${Date.now()} ${Math.random()}`;
    this.pressed = this.send(field.dataset.line, { arg: field.dataset.arg || "", name: boxes[0].name, value, once });
  }

  // Arrow keys walk through a list such as the zones of an elevation.
  walk(event) {
    const steps = { ArrowDown: 1, ArrowRight: 1, ArrowUp: -1, ArrowLeft: -1 };
    const list = event.target.closest?.("[data-walk]");
    if (!list || !(event.key in steps)) return;
    const all = [...list.querySelectorAll("[tabindex]")];
    const next = all[all.indexOf(event.target.closest("[tabindex]")) + steps[event.key]];
    if (!next) return;
    event.preventDefault();
    next.focus();
  }

  // A pasted column or row of numbers goes to Python as it is; it alone says what it means.
  pasted(event) {
    const field = event.target;
    if (!field.dataset?.paste) return;
    const text = event.clipboardData.getData("text/plain");
    if (!/[\t\n]/.test(text.trim())) return;
    event.preventDefault();
    this.flush();
    const once = `${Date.now()} ${Math.random()}`;
    this.send(field.dataset.paste, { name: field.name, value: text, arg: field.dataset.arg || "", once });
  }

  // A file goes over in pieces, the next when the last was answered, and one file after the other.
  take(field, files) {
    const { take: value, arg = "" } = field.dataset;
    const route = this.model.get("route");
    const go = async () => {
      for (const [index, file] of files.entries()) {
        try {
          await this.takeOne(file, { name: file.name, value, arg, route, of: files.length, index });
        } catch (error) {
          // Such as a card that was drawn out.
          if (!(error instanceof DOMException)) throw error;
          this.send("not_read", { name: file.name, value: "The browser could not read it. Choose it again." });
        }
      }
      field.value = "";
    };
    this.taking = (this.taking || Promise.resolve()).then(go);
  }

  async takeOne(file, more) {
    const upload = `${Date.now()} ${Math.random()}`;
    for (let from = 0; from === 0 || from < file.size; from += PIECE) {
      const piece = await file.slice(from, from + PIECE).arrayBuffer();
      const last = from + PIECE >= file.size;
      const number = this.send("file", { ...more, upload, from, last }, [piece]);
      await new Promise((go) => { this.piece = (answered) => answered === number && go(); });
    }
  }
}

// Points on a picture: put by tap, click or key, moved, taken away. The picture can be drawn near.
class Pointing {
  constructor(page, signal) {
    this.page = page;
    this.fingers = new Map();
    const listen = (name, act) => page.root.addEventListener(name, act, { signal });
    listen("pointerdown", (event) => this.down(event));
    listen("pointermove", (event) => this.move(event));
    listen("pointerup", (event) => this.up(event));
    listen("pointercancel", (event) => this.fingers.delete(event.pointerId));
    listen("keydown", (event) => this.key(event));
    listen("click", (event) => this.zoomed(event));
    window.addEventListener("resize", () => this.measureAll(), { signal });
    page.root.addEventListener("wheel", (event) => this.wheel(event), { signal, passive: false });
  }

  measureAll() {
    for (const plate of this.page.root.querySelectorAll("svg[data-points]")) Pointing.measure(plate);
  }

  static plate(element) {
    return element.closest?.("svg[data-points]");
  }

  static points(plate) {
    return JSON.parse(plate.dataset.points);
  }

  static shown(plate) {
    return plate.getAttribute("viewBox").split(" ").map(Number);
  }

  static at(plate, event) {
    const matrix = plate.getScreenCTM().inverse();
    const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(matrix);
    return [point.x, point.y];
  }

  tell(plate, points) {
    const rounded = points.map((point) => point.map((one) => Math.round(one * 100) / 100));
    plate.dataset.points = JSON.stringify(rounded);
    this.page.flush();
    this.page.send(plate.dataset.do, { arg: plate.dataset.arg || "", value: JSON.stringify(rounded) });
  }

  down(event) {
    const plate = Pointing.plate(event.target);
    if (!plate) return;
    this.fingers.set(event.pointerId, [event.clientX, event.clientY]);
    const handle = event.target.closest("[data-point]") && this.nearest(plate, event);
    this.hand = {
      plate, handle, from: [event.clientX, event.clientY], box: Pointing.shown(plate), moved: false,
      apart: this.apart(),
    };
    if (handle) event.preventDefault();
    // A tap on a zone is left to the zone; what is put or moved belongs to the plate.
    if (plate.dataset.do) plate.setPointerCapture(event.pointerId);
  }

  // Where the rings of handles overlap, the one whose middle is nearest is meant.
  nearest(plate, event) {
    const gap = (handle) => {
      const { left, top, width, height } = handle.getBoundingClientRect();
      return Math.hypot(left + width / 2 - event.clientX, top + height / 2 - event.clientY);
    };
    return [...plate.querySelectorAll("[data-point]")].sort((one, other) => gap(one) - gap(other))[0];
  }

  apart() {
    const [one, other] = [...this.fingers.values()];
    return other ? Math.hypot(one[0] - other[0], one[1] - other[1]) : 0;
  }

  move(event) {
    const hand = this.hand;
    if (!hand || !this.fingers.has(event.pointerId)) return;
    this.fingers.set(event.pointerId, [event.clientX, event.clientY]);
    const [x, y] = hand.from;
    if (Math.hypot(event.clientX - x, event.clientY - y) > 8) hand.moved = true;
    if (hand.apart && this.apart()) {
      hand.moved = true;
      this.zoom(hand.plate, hand.apart / this.apart(), hand.box);
    } else if (hand.handle) {
      const [left, top] = Pointing.at(hand.plate, event);
      hand.handle.setAttribute("transform", `translate(${left} ${top})`);
      const points = Pointing.points(hand.plate);
      points[Number(hand.handle.dataset.point)] = [left, top];
      hand.plate.querySelector(".follows")?.setAttribute("points", points.join(" "));
    } else if (hand.moved) {
      if (!hand.plate.hasPointerCapture(event.pointerId)) hand.plate.setPointerCapture(event.pointerId);
      const wide = hand.box[2] / hand.plate.clientWidth;
      const [left, top] = [hand.box[0] - (event.clientX - x) * wide, hand.box[1] - (event.clientY - y) * wide];
      this.showPart(hand.plate, [left, top, hand.box[2], hand.box[3]]);
    }
  }

  up(event) {
    const hand = this.hand;
    this.fingers.delete(event.pointerId);
    if (!hand || this.fingers.size) return;
    this.hand = null;
    const points = Pointing.points(hand.plate);
    const place = Pointing.at(hand.plate, event);
    if (hand.handle && hand.moved) {
      points[Number(hand.handle.dataset.point)] = place;
      this.tell(hand.plate, points);
    } else if (!hand.handle && !hand.moved && hand.plate.dataset.do) {
      this.tell(hand.plate, [...points, place]);
    } else if (hand.handle) {
      hand.handle.focus();
      const choose = hand.plate.dataset.choose;
      if (choose) this.page.send(choose, { arg: hand.handle.dataset.point });
    }
  }

  // A cross that arrow keys move puts a point on Enter; Delete takes the point in hand away.
  key(event) {
    const plate = Pointing.plate(event.target);
    if (!plate || !plate.dataset.do) return;
    const steps = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    const step = steps[event.key];
    const box = Pointing.shown(plate);
    const far = (box[2] / 100) * (event.shiftKey ? 5 : 1);
    const points = Pointing.points(plate);
    const handle = event.target.closest("[data-point]");
    if (handle && (step || event.key === "Delete" || event.key === "Backspace")) {
      event.preventDefault();
      const index = Number(handle.dataset.point);
      if (step) points[index] = [points[index][0] + step[0] * far, points[index][1] + step[1] * far];
      else points.splice(index, 1);
      this.tell(plate, points);
      return;
    }
    if (handle && event.key === "Enter" && plate.dataset.choose) {
      event.preventDefault();
      this.page.send(plate.dataset.choose, { arg: handle.dataset.point });
    }
    if (event.target !== plate) return;
    const cross = plate.querySelector(".cross");
    const at = this.cross?.plate === plate ? this.cross.at : [box[0] + box[2] / 2, box[1] + box[3] / 2];
    if (step) {
      event.preventDefault();
      this.cross = { plate, at: [at[0] + step[0] * far, at[1] + step[1] * far] };
      cross?.setAttribute("transform", `translate(${this.cross.at[0]} ${this.cross.at[1]})`);
    } else if (event.key === "Enter" || event.key === " ") {
      event.preventDefault();
      this.tell(plate, [...points, at]);
    } else if (event.key === "Backspace" && points.length) {
      event.preventDefault();
      this.tell(plate, points.slice(0, -1));
    }
  }

  zoomed(event) {
    const button = event.target.closest?.("[data-zoom]");
    if (!button) return;
    const plate = button.closest("[data-plate]").querySelector("svg[data-points]");
    if (button.dataset.zoom === "all") this.showPart(plate, plate.dataset.whole.split(" ").map(Number));
    else this.zoom(plate, Number(button.dataset.zoom));
  }

  wheel(event) {
    const plate = Pointing.plate(event.target);
    // The page itself scrolls unless Ctrl is held, as in maps.
    if (!plate || !event.ctrlKey) return;
    event.preventDefault();
    this.zoom(plate, event.deltaY > 0 ? 1.25 : 0.8);
  }

  zoom(plate, times, box = Pointing.shown(plate)) {
    const [left, top, wide, high] = box;
    this.showPart(plate, [left + (wide * (1 - times)) / 2, top + (high * (1 - times)) / 2, wide * times, high * times]);
  }

  showPart(plate, [left, top, wide, high]) {
    const [x, y, w, h] = plate.dataset.whole.split(" ").map(Number);
    const share = Math.min(1, Math.max(wide / w, 0.02));
    const size = [w * share, h * share];
    const within = (at, from, all, part) => Math.min(Math.max(at, from), from + all - part);
    plate.setAttribute("viewBox", [within(left, x, w, size[0]), within(top, y, h, size[1]), ...size].join(" "));
    // A finger draws a near picture about; with all of it shown, it scrolls the page.
    if (!plate.dataset.do) plate.style.touchAction = share < 1 ? "none" : "";
    plate.style.setProperty("--near", share);
    Pointing.measure(plate);
  }

  // Units of the picture in one pixel of the screen: handles and codes keep their size by it.
  static measure(plate) {
    const matrix = plate.getScreenCTM();
    if (matrix?.a) plate.style.setProperty("--px", 1 / matrix.a);
  }
}

export default {
  render({ model, el, signal }) {
    el.classList.add("hc-live");
    const ends = signal || new AbortController().signal;
    new Page(model, el).begin(ends);
  },
};
