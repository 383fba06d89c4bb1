// The desk without waiting for whole pages: the scan field keeps the focus, what is scanned meanwhile is kept, and
// the ear learns what became of a scan. Without this script the same form posts and the same page answers.
"use strict";
(() => {
  // A scanner that ends its text with two line ends would press the offered button unseen.
  const DOUBLE_END_MS = 700;
  let tail = Promise.resolve();
  let lastScanAt = -Infinity;
  const { sound, trouble, wait, handOver } = window.fettleScan;

  function heard() {
    const band = document.querySelector("#main [data-sound]");
    if (band) sound(band.dataset.sound);
  }

  function field() {
    return document.getElementById("scan");
  }

  function refocus() {
    const scan = field();
    if (scan) scan.focus({ preventScroll: true });
  }

  function show(text) {
    const page = new DOMParser().parseFromString(text, "text/html");
    const next = page.getElementById("main");
    if (!next) return false;
    const typed = field() ? field().value : "";
    const foot = page.querySelector("footer");
    document.getElementById("main").replaceWith(next);
    if (foot && document.querySelector("footer")) document.querySelector("footer").replaceWith(foot);
    document.title = page.title;
    if (field()) field().value = typed;
    const pin = next.querySelector("[data-asks] [autofocus]");
    if (pin) pin.focus();
    else refocus();
    heard();
    handOver();
    return true;
  }

  async function send(body, action, scan) {
    let answer;
    try {
      answer = await fetch(action, { method: "POST", body, credentials: "same-origin" });
    } catch (_) {
      const what = scan ? `"${scan}"` : "The last act";
      trouble(`The server does not answer. ${what} may not be recorded: scan it again when the server is back.`);
      return;
    }
    const path = new URL(answer.url).pathname;
    if (answer.redirected && path !== "/desk") {
      location.assign(answer.url);
      return;
    }
    const text = await answer.text();
    if (!show(text)) trouble("The answer cannot be read. Open the desk again before you go on.");
  }

  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (new URL(form.action).pathname !== "/desk" || form.method !== "post") return;
    event.preventDefault();
    const scan = form.id === "desk" ? field().value.trim() : "";
    const button = event.submitter;
    const pressed = button && button.name ? [button.name, button.value] : null;
    const now = performance.now();
    if (form.id === "desk" && !scan && now - lastScanAt < DOUBLE_END_MS) return;
    if (scan) lastScanAt = now;
    const body = new URLSearchParams(new FormData(form));
    if (pressed) body.set(pressed[0], pressed[1]);
    if (form.id === "desk") field().value = "";
    tail = tail.then(() => {
      // Somebody else signs in meanwhile: what was scanned since is theirs.
      if (scan && document.querySelector("[data-asks]")) return wait(scan);
      // What was scanned while the last answer was under way takes that answer's list along.
      const log = document.querySelector("#desk textarea[name=log]");
      if (log) body.set("log", log.value);
      return send(body, form.action, scan);
    });
  });

  // A choice by hand goes back to scanning at once. By keyboard the arrows walk through the choices, and Enter takes
  // the chosen one: it must not press the button of what was scanned before.
  document.addEventListener("click", (event) => {
    if (event.target.name === "step" && event.detail > 0) refocus();
  });
  document.addEventListener("pointerup", (event) => {
    const label = event.target.closest("label");
    if (label && label.querySelector("input[name=step]")) setTimeout(refocus);
  });
  document.addEventListener("keydown", (event) => {
    if (event.target.name !== "step" || event.key !== "Enter") return;
    event.preventDefault();
    refocus();
  });

  heard();
  refocus();
})();
