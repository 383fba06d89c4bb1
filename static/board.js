// The board renews itself: the server sends what has changed and a beat in between, and the board says since when it is
// not current where neither comes. Where no stream comes through, it asks. Without this script the page loads itself anew.
"use strict";
(() => {
  const EVERY_MS = 2000;
  const PATIENCE_MS = 6000;
  // The server's beat is 4 s: a stream that is silent for thrice as long is none.
  const SILENT_MS = 12000;
  let tag = "";
  let goodAt = new Date();
  let source = null;
  let heardAt = -SILENT_MS;

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

  // The server's time, since a display's own clock may be wrong.
  function current(at) {
    const told = Date.parse(at || "");
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
    const same = live().cloneNode(true);
    const said = same.querySelector("#checked");
    if (said) said.textContent = "";
    if (same.isEqualNode(next)) return true;
    const at = document.activeElement;
    const within = at && live().contains(at);
    const [href, id] = within ? [at.getAttribute("href"), at.id] : [null, ""];
    live().replaceWith(next);
    for (const [what, text] of [["clock", next.dataset.clock], ["entry", next.dataset.entry]]) {
      for (const place of document.querySelectorAll(`[data-is="${what}"]`)) if (text) place.textContent = text;
    }
    const again = id && document.getElementById(id);
    if (again) again.focus({ preventScroll: true });
    if (href && !again) {
      const link = [...live().querySelectorAll("a[href]")].find((it) => it.getAttribute("href") === href);
      if (link) link.focus({ preventScroll: true });
    }
    return true;
  }

  async function look() {
    const ends = new AbortController();
    const timer = setTimeout(() => ends.abort(), PATIENCE_MS);
    try {
      const headers = tag ? { "If-None-Match": tag } : {};
      const asked = { headers, cache: "no-store", credentials: "same-origin", signal: ends.signal };
      const answer = await fetch(`${location.pathname}${location.search}`, asked);
      if (answer.redirected) {
        stale("Nobody is signed in here any more: load the page again and sign in.");
      } else if (answer.status === 304) {
        current(answer.headers.get("date"));
      } else if (answer.ok && swap(await answer.text())) {
        tag = answer.headers.get("etag") || "";
        current(answer.headers.get("date"));
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
      if (!high()) break;
    }
    below(wall);
  }

  // What does not fit is said: a wall that ends without a word is taken for the whole day.
  function below(wall) {
    const known = document.getElementById("below");
    if (known) known.remove();
    const isHidden = (row) => row.getBoundingClientRect().bottom > window.innerHeight;
    if (![...wall.querySelectorAll("tbody tr")].some(isHidden)) return;
    const said = document.createElement("p");
    said.id = "below";
    said.className = "below";
    document.getElementById("main").append(said);
    const edge = window.innerHeight - said.offsetHeight;
    const cases = [...wall.querySelectorAll(".halves > section:first-child tbody tr")];
    const sets = [...wall.querySelectorAll(".halves > section:last-child tbody tr")];
    const hidden = (rows) => rows.filter((row) => row.getBoundingClientRect().bottom > edge).length;
    const parts = [[hidden(cases), "case"], [hidden(sets), "line of sets"]].filter(([many]) => many > 0);
    const words = parts.map(([many, what]) => `${many} more ${many === 1 ? what : what.replace(/^(case|line)/, "$1s")}`);
    said.textContent = `${words.join(" and ")} below: see the board.`;
  }

  function heard() {
    heardAt = performance.now();
  }

  function isSilent() {
    return performance.now() - heardAt > SILENT_MS;
  }

  // A browser comes back by itself to a stream that broke off, and is sent the board of now.
  function open() {
    if (source || !window.EventSource || document.hidden) return;
    source = new EventSource(`${location.pathname}/live${location.search}`);
    source.addEventListener("board", (event) => {
      heard();
      tag = "";
      swap(event.data);
      fit();
    });
    source.addEventListener("current", (event) => {
      heard();
      current(JSON.parse(event.data).at);
      checked();
    });
    source.addEventListener("gone", () => {
      heard();
      stale("The database does not answer: what has changed is not known.");
    });
    source.addEventListener("ended", () => {
      close();
      stale("Nobody is signed in here any more: load the page again and sign in.");
    });
    source.addEventListener("error", () => {
      // What has broken off is asked for at once, and is told where nothing answers.
      heardAt = -SILENT_MS;
      if (source && source.readyState === EventSource.CLOSED) close();
    });
  }

  function close() {
    if (source) source.close();
    source = null;
    heardAt = -SILENT_MS;
  }

  async function keep() {
    if (isSilent() && !document.hidden) {
      await look();
      open();
    }
    setTimeout(keep, EVERY_MS);
  }

  // A page that nobody sees needs no stream.
  document.addEventListener("visibilitychange", () => {
    if (document.hidden) {
      close();
    } else {
      look();
      open();
    }
  });
  window.addEventListener("resize", fit);
  fit();
  open();
  setTimeout(keep, source ? SILENT_MS : 0);
})();
