// The board renews itself: it asks whether anything changed, takes the new content in place, and says since when it
// is not current where the server does not answer. Without this script the page loads itself anew.
"use strict";
(() => {
  const EVERY_MS = 8000;
  const PATIENCE_MS = 6000;
  let tag = "";
  let goodAt = new Date();

  function live() {
    return document.getElementById("live");
  }

  function clock(at) {
    const zone = live().dataset.zone;
    const hour = { hour: "2-digit", minute: "2-digit", hourCycle: "h23" };
    try {
      return new Intl.DateTimeFormat("en-GB", { ...hour, timeZone: zone }).format(at);
    } catch (_) {
      return new Intl.DateTimeFormat("en-GB", hour).format(at);
    }
  }

  function checked() {
    const place = document.getElementById("checked");
    if (place) place.textContent = ` Looked at ${clock(goodAt)}.`;
  }

  // The words come before everything else, since everything else may be wrong.
  function stale(why) {
    let band = document.getElementById("stale");
    if (!band) {
      band = document.createElement("p");
      band.id = "stale";
      band.className = "stale";
      band.setAttribute("role", "alert");
      document.getElementById("main").prepend(band);
    }
    const words = `Not current since ${clock(goodAt)}. ${why}`;
    if (band.textContent !== words) band.textContent = words;
    document.body.classList.add("is-stale");
  }

  function current(answer) {
    const told = Date.parse(answer.headers.get("date") || "");
    goodAt = Number.isNaN(told) ? new Date() : new Date(told);
    const band = document.getElementById("stale");
    if (band) band.remove();
    document.body.classList.remove("is-stale");
  }

  // Whoever walks through the page by keyboard stays where they were.
  function swap(text) {
    const page = new DOMParser().parseFromString(text, "text/html");
    const next = page.getElementById("live");
    if (!next) return false;
    const at = document.activeElement;
    const href = at && live().contains(at) ? at.getAttribute("href") : null;
    live().replaceWith(next);
    for (const css of [".where time", "footer"]) {
      const [old, fresh] = [document.querySelector(css), page.querySelector(css)];
      if (old && fresh) old.replaceWith(fresh);
    }
    document.title = page.title;
    if (href) {
      const same = [...live().querySelectorAll("a[href]")].find((link) => link.getAttribute("href") === href);
      if (same) same.focus({ preventScroll: true });
    }
    return true;
  }

  async function look() {
    const ends = new AbortController();
    const timer = setTimeout(() => ends.abort(), PATIENCE_MS);
    try {
      const headers = tag ? { "If-None-Match": tag } : {};
      const asked = { headers, cache: "no-store", credentials: "same-origin", signal: ends.signal };
      const answer = await fetch(location.pathname, asked);
      if (answer.redirected) {
        stale("Nobody is signed in here any more: load the page again and sign in.");
      } else if (answer.status === 304) {
        current(answer);
      } else if (answer.ok && swap(await answer.text())) {
        tag = answer.headers.get("etag") || "";
        current(answer);
      } else {
        stale("The server answers, but not with the board.");
      }
    } catch (_) {
      stale("The server cannot be reached.");
    } finally {
      clearTimeout(timer);
    }
    checked();
    fit();
  }

  // A wall has nobody who scrolls: where a full day is higher than the screen, its rows stand closer. The widest wall
  // displays alone do so; whoever reads it on a phone scrolls.
  const DENSITIES = ["dense-1", "dense-2", "dense-3", "dense-4"];
  function fit() {
    const wall = document.querySelector(".wall-page");
    if (!wall || window.innerWidth < 1600) return;
    const is = (name) => wall.classList.contains(name);
    const first = wall.dataset.first || DENSITIES.find(is) || "";
    wall.dataset.first = first;
    const from = DENSITIES.indexOf(first);
    const high = () => document.documentElement.scrollHeight > window.innerHeight;
    for (let at = from; at < DENSITIES.length; at += 1) {
      wall.classList.remove(...DENSITIES);
      if (at >= 0) wall.classList.add(DENSITIES[at]);
      if (!high()) return;
    }
  }

  async function keep() {
    await look();
    setTimeout(keep, EVERY_MS);
  }

  document.addEventListener("visibilitychange", () => {
    if (!document.hidden) look();
  });
  window.addEventListener("resize", fit);
  fit();
  keep();
})();
