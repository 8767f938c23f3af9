// The page of a meeting: the same page as a survey's, over one socket to the program that holds it.

import page from "./page.js";

const AGAIN_AFTER_MS = 1000;
const SILENT_MS = 15000;
// Told again over a new socket: to say these twice does no harm. A press is told once, when it can be.
const HARMLESS = ["type", "leave", "picture", "alive"];

class Model {
  constructor() {
    this.values = { html: "", route: sessionStorage.getItem("room route") || "", kept_as: "meeting" };
    this.listeners = {};
    this.waiting = new Map(); // events that were not answered yet, by number
    this.told = new Set(); // numbers of those of them that were sent
    this.word = decodeURIComponent(new URLSearchParams(window.location.hash.slice(1)).get("join") || "");
    this.leads = new URLSearchParams(window.location.hash.slice(1)).get("leads") || "";
    this.connect();
  }

  get(name) {
    return this.values[name];
  }

  on(name, act) {
    this.listeners[name] = act;
  }

  connect() {
    clearTimeout(this.again);
    const scheme = window.location.protocol === "https:" ? "wss" : "ws";
    const socket = new WebSocket(`${scheme}://${window.location.host}/live`);
    this.socket = socket;
    this.heardAt = Date.now();
    socket.addEventListener("open", () => {
      if (socket !== this.socket) return;
      const key = this.leads || localStorage.getItem("room key") || "";
      const unsure = [...this.waiting].filter(([number, event]) => this.told.has(number) && !HARMLESS.includes(event.do));
      const hello = { do: "hello", key, word: this.word, route: this.values.route, unsure: unsure.length > 0 };
      socket.send(JSON.stringify(hello));
      for (const [number] of unsure) this.heard({ answered: number });
      for (const event of this.waiting.values()) this.tell(event);
    });
    socket.addEventListener("message", (message) => {
      if (socket === this.socket) this.heard(JSON.parse(message.data));
    });
    socket.addEventListener("close", () => {
      if (socket === this.socket) this.again = setTimeout(() => this.connect(), AGAIN_AFTER_MS);
    });
  }

  // A laptop that slept may hold a socket on which nothing is ever heard again, and which nobody closes.
  connectIfSilent() {
    if (!this.waiting.size || Date.now() - this.heardAt < SILENT_MS) return;
    const silent = this.socket;
    this.connect();
    silent.close();
  }

  tell(event) {
    if (this.socket.readyState !== WebSocket.OPEN) return;
    this.socket.send(JSON.stringify(event));
    this.told.add(event.number);
  }

  send(event) {
    if (event.do === "open") {
      // Who this is and where it was is told when the socket opens.
      setTimeout(() => this.listeners["msg:custom"]?.({ answered: event.number }, []));
      return;
    }
    if (!this.waiting.size) this.heardAt = Date.now();
    this.waiting.set(event.number, event);
    this.tell(event);
  }

  heard(told) {
    this.heardAt = Date.now();
    for (const name of ["route", "html"]) {
      if (told[name] === undefined || told[name] === this.values[name]) continue;
      this.values[name] = told[name];
      if (name === "route") sessionStorage.setItem("room route", told[name]);
      this.listeners[`change:${name}`]?.();
    }
    if (told.key !== undefined && !this.leads) localStorage.setItem("room key", told.key);
    if (told.clock !== undefined) this.ahead = told.clock - Date.now();
    if (told.answered) {
      this.waiting.delete(told.answered);
      this.told.delete(told.answered);
    }
    if (told.answered || told.picture) {
      const data = told.data ? [Uint8Array.from(atob(told.data), (sign) => sign.charCodeAt(0))] : [];
      this.listeners["msg:custom"]?.(told, data);
    }
  }
}

// Minutes and seconds that are left, by the clock of the program.
function tick(model) {
  for (const one of document.querySelectorAll("[data-until]")) {
    const left = Math.max(0, Math.round((Number(one.dataset.until) * 1000 - Date.now() - (model.ahead || 0)) / 1000));
    one.textContent = left ? `${Math.floor(left / 60)}:${String(left % 60).padStart(2, "0")}` : "Time is up";
  }
}

const model = new Model();
page.render({ model, el: document.getElementById("room"), signal: new AbortController().signal });
setInterval(() => {
  tick(model);
  model.connectIfSilent();
}, 500);
