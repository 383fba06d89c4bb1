// At the table a phone loses its network. What was tapped is kept on it and sent once the network is back, each act
// once: it carries a key. What is ticked in a long form is kept while it is filled in. Without this script the same
// forms post and the same pages answer.
"use strict";
(() => {
  const AGAIN_MS = 10000;
  const PATIENCE_MS = 15000;
  const WAITING = "fettle.waiting";
  let sending = false;

  function read(name, none) {
    try {
      return JSON.parse(localStorage.getItem(name)) ?? none;
    } catch (_) {
      return none;
    }
  }

  function write(name, value) {
    try {
      if (value === null) localStorage.removeItem(name);
      else localStorage.setItem(name, JSON.stringify(value));
      return true;
    } catch (_) {
      return false;
    }
  }

  function who() {
    const person = document.querySelector(".who span");
    return person ? person.textContent : "";
  }

  // Of this person alone: another who signs in on the same phone does not send it under their own name.
  function mine() {
    return read(WAITING, []).filter((it) => it.who === who());
  }

  function band(words, refused) {
    let place = document.getElementById("waiting");
    if (!words) {
      if (place) place.remove();
      return;
    }
    if (!place) {
      place = document.createElement("p");
      place.id = "waiting";
      place.setAttribute("role", "alert");
      document.getElementById("main").prepend(place);
    }
    place.className = refused ? "band refused" : "band waiting";
    place.textContent = words;
  }

  function tell() {
    const all = mine();
    if (all.length === 0) return band("");
    const names = all.map((it) => it.label).join("; ");
    band(`Not recorded yet: ${names}. The server does not answer; it is kept on this phone and sent when it does. Leave this page open or come back to it.`, true);
  }

  function key() {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    return `phone-${[...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("")}`;
  }

  async function post(it) {
    const ends = new AbortController();
    const timer = setTimeout(() => ends.abort(), PATIENCE_MS);
    const body = new URLSearchParams(it.body);
    const csrf = document.querySelector("input[name=csrf]");
    if (csrf) body.set("csrf", csrf.value);
    try {
      return await fetch(it.action, { method: "POST", body, credentials: "same-origin", signal: ends.signal });
    } finally {
      clearTimeout(timer);
    }
  }

  function drop(it) {
    write(WAITING, read(WAITING, []).filter((other) => other.key !== it.key));
  }

  function show(text) {
    const page = new DOMParser().parseFromString(text, "text/html");
    const next = page.getElementById("main");
    if (!next) return false;
    document.getElementById("main").replaceWith(next);
    document.title = page.title;
    next.focus();
    return true;
  }

  // Recorded, refused with its reasons, or not heard: only what was heard leaves the phone.
  async function send(it) {
    let answer;
    try {
      answer = await post(it);
    } catch (_) {
      return "unheard";
    }
    const path = new URL(answer.url).pathname;
    if (answer.redirected && path === "/sign-in") return "signed out";
    if (answer.status >= 500 || answer.status === 429 || answer.status === 403) return "unheard";
    drop(it);
    if (it.ticks) write(it.ticks, null);
    if (answer.ok) {
      it.next = answer.url;
      return "recorded";
    }
    return show(await answer.text()) ? "refused" : "recorded";
  }

  async function sendAll(onward) {
    if (sending) return;
    sending = true;
    let last = null;
    for (const it of mine()) {
      const became = await send(it);
      if (became === "signed out") {
        sending = false;
        band("You are signed out. What you tapped is kept on this phone: sign in again, and it is sent.", true);
        return;
      }
      if (became !== "recorded") {
        sending = false;
        if (became === "unheard") tell();
        return;
      }
      last = it;
    }
    sending = false;
    if (!last) return;
    const next = new URL(last.next);
    if (!next.hash && last.hash) next.hash = last.hash;
    if (onward || location.pathname === next.pathname) {
      if (location.pathname + location.search === next.pathname + next.search) location.reload();
      else location.assign(next.href);
    } else {
      tell();
    }
  }

  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (form.dataset.keep === undefined || form.method !== "post") return;
    event.preventDefault();
    const button = event.submitter;
    const data = new FormData(form);
    if (button && button.name) data.set(button.name, button.value);
    const back = String(data.get("onward") || data.get("back") || "");
    const it = {
      key: key(),
      who: who(),
      action: new URL(form.action).pathname,
      label: button && button.name ? `${form.dataset.keep}, ${button.textContent.trim()}` : form.dataset.keep,
      hash: back.includes("#") ? back.slice(back.indexOf("#")) : "",
      ticks: form.dataset.ticks === undefined ? null : place(form),
    };
    data.set("key", it.key);
    it.body = [...data.entries()].map(([name, value]) => [name, String(value)]);
    if (!write(WAITING, [...read(WAITING, []), it])) {
      band("This phone keeps nothing now: do not close the page before it says that it is recorded.", true);
      send(it).then((became) => {
        if (became === "recorded") location.assign(it.next);
      });
      return;
    }
    band("Sending …");
    sendAll(true);
  });

  // Ticks and numbers of a long form, kept until it is recorded.
  function place(form) {
    return `fettle.ticks.${who()}.${location.pathname}.${form.dataset.keep}`;
  }

  function fields(form) {
    return [...form.elements].filter((field) => field.name && !["hidden", "submit", "file"].includes(field.type));
  }

  function keepTicks(form) {
    const kept = fields(form)
      .filter((field) => field.type !== "radio" || field.checked)
      .map((field) => [field.name, field.value]);
    write(place(form), kept);
  }

  function restoreTicks(form) {
    for (const [name, value] of read(place(form), [])) {
      for (const field of fields(form).filter((it) => it.name === name)) {
        if (field.type === "radio") field.checked = field.value === value;
        else if (!field.value) field.value = value;
      }
    }
  }

  for (const form of document.querySelectorAll("form[data-ticks]")) {
    restoreTicks(form);
    form.addEventListener("change", () => keepTicks(form));
    form.addEventListener("input", () => keepTicks(form));
  }

  window.addEventListener("online", () => sendAll(false));
  setInterval(() => {
    if (mine().length > 0) sendAll(false);
  }, AGAIN_MS);
  if (mine().length > 0) sendAll(false);
})();
