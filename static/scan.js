// A hand scanner types like a keyboard, only faster. This script collects its keys, so that a separator is not lost, two
// scans never run together, and the end of a scan presses no button. What is typed by hand works as ever, and without
// this script the same forms post and the same pages answer.
"use strict";
(() => {
  // Keys of a scanner follow one another faster than anybody types.
  const FAST_MS = 45;
  // Within one scan no key waits longer than this; after it another text begins.
  const APART_MS = 400;
  // A scanner that sends no end is ended by this silence.
  const SILENCE_MS = 260;
  // A second line end that some scanners send belongs to the scan before it.
  const SECOND_END_MS = 300;
  // What begins so soon after the page was opened may have begun on the page before: its first keys are lost.
  const OPENING_MS = 60;
  const SHORTEST = 3;
  const SHORTEST_WITHOUT_END = 6;
  const SEPARATOR = "\u001d";
  const LOST = "\ufffd";
  const KEYBOARD = "fettle.keyboard";
  const WAITING = "fettle.scans";
  // The text of the printed test mark, and how every command mark begins.
  const TEST = "FTLDOTESTYZQWAM1234567890";
  const FIELDS = "input[name=scan]:not([type=hidden]), input[name=q], textarea[name='scan:lines'], textarea[data-scans], input[name=badge]";

  // What each key of a keyboard of the United States says, without and with the shift key.
  const ROWS = {
    Digit1: "1!", Digit2: "2@", Digit3: "3#", Digit4: "4$", Digit5: "5%", Digit6: "6^", Digit7: "7&", Digit8: "8*",
    Digit9: "9(", Digit0: "0)", Minus: "-_", Equal: "=+", BracketLeft: "[{", BracketRight: "]}", Backslash: "\\|",
    Semicolon: ";:", Quote: "'\"", Backquote: "`~", Comma: ",<", Period: ".>", Slash: "/?", Space: "  ",
  };

  const openedAt = performance.now();
  let audio = null;
  let run = null;
  let endedAt = -Infinity;
  let silence = 0;

  function tone(at, hertz, seconds, shape) {
    const oscillator = audio.createOscillator();
    const gain = audio.createGain();
    oscillator.type = shape;
    oscillator.frequency.value = hertz;
    gain.gain.setValueAtTime(0.0001, at);
    gain.gain.exponentialRampToValueAtTime(0.25, at + 0.01);
    gain.gain.exponentialRampToValueAtTime(0.0001, at + seconds);
    oscillator.connect(gain).connect(audio.destination);
    oscillator.start(at);
    oscillator.stop(at + seconds);
  }

  // Accepted is one short high tone; refused is two long low ones: they differ in height, length and number.
  function sound(kind) {
    try {
      audio = audio || new AudioContext();
      audio.resume();
      const now = audio.currentTime + 0.01;
      if (kind === "accepted") {
        tone(now, 1320, 0.12, "sine");
      } else {
        tone(now, 220, 0.28, "square");
        tone(now + 0.36, 165, 0.38, "square");
      }
    } catch (_) {}
  }

  function field() {
    if (isScanField(document.activeElement)) return document.activeElement;
    return [...document.querySelectorAll(FIELDS)].find((it) => it.checkVisibility() && !it.disabled) || null;
  }

  function isScanField(element) {
    return Boolean(element) && element.matches(FIELDS);
  }

  function takesText(element) {
    if (!element || element.readOnly) return false;
    if (element.tagName === "TEXTAREA" || element.isContentEditable) return true;
    const others = ["radio", "checkbox", "button", "submit", "reset", "file", "range", "color", "image"];
    return element.tagName === "INPUT" && !others.includes(element.type);
  }

  function dialog() {
    return document.querySelector("dialog[open]");
  }

  // A line at the top of what is shown, read aloud at once; with choices where something is asked.
  function band(words, kind, choices) {
    const place = dialog() || document.getElementById("main") || document.body;
    let line = document.getElementById("trouble");
    if (line) line.remove();
    if (!words) return;
    line = document.createElement("div");
    line.id = "trouble";
    line.className = `band ${kind}`;
    line.setAttribute("role", kind === "refused" ? "alert" : "status");
    const text = document.createElement("p");
    text.textContent = words;
    line.append(text);
    for (const [label, act] of choices || []) {
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = label;
      button.addEventListener("click", act);
      line.append(button);
    }
    const form = dialog() ? null : field() && field().form;
    if (form) form.parentNode.insertBefore(line, form);
    else place.prepend(line);
    sound(kind === "refused" ? "refused" : "accepted");
  }

  function trouble(words, choices) {
    band(words, "refused", choices);
  }

  // A scan of which nothing was made, and why.
  function again(why, next) {
    refocus();
    trouble(`${why} Nothing was done. ${next || "Scan it again."}`);
  }

  function plain(text) {
    return text.replaceAll(SEPARATOR, "\u241d");
  }

  function insert(element, text) {
    const at = element.selectionStart ?? element.value.length;
    element.setRangeText(text, at, element.selectionEnd ?? at, "end");
  }

  // What the key says on a keyboard of the United States; null where its place is not told.
  function byPlace(event) {
    if (/^Key[A-Z]$/.test(event.code)) {
      const letter = event.code.slice(3);
      return event.shiftKey ? letter : letter.toLowerCase();
    }
    if (/^Numpad[0-9]$/.test(event.code)) return event.code.slice(6);
    const row = ROWS[event.code];
    return row ? row[event.shiftKey ? 1 : 0] : null;
  }

  function isSeparator(event) {
    const held = event.ctrlKey && !event.altKey && !event.metaKey;
    // On another keyboard that place is a plus, with which people zoom: it counts within a scan alone.
    const within = run && event.timeStamp - run.last <= 2 * FAST_MS && event.code === "BracketRight";
    return event.key === SEPARATOR || (held && (event.key === "]" || within));
  }

  function begin(event) {
    const cut = event.timeStamp - openedAt < OPENING_MS;
    run = { keys: "", places: "", whole: true, caps: false, repeated: false, cut, doubt: false, gaps: [], last: event.timeStamp, touched: new Map() };
  }

  function take(event, key, place) {
    const gap = run ? event.timeStamp - run.last : Infinity;
    const at = document.activeElement;
    // A scan without an end, whose silence a busy page did not hear, ends before the next one begins.
    if (gap > SILENCE_MS && isFast(SHORTEST_WITHOUT_END) && !isElsewhere(run)) finish();
    // A page that changes under a scan does not cut it in two.
    const moved = gap > 2 * FAST_MS && run && !run.touched.has(at) && !isScanField(at);
    if (!run || gap > APART_MS || moved) {
      begin(event);
    } else {
      run.gaps.push(gap);
      // Somebody typed before the scanner began: what came before the pause is not of the scan. Whose one key or two were,
      // nobody can know.
      if (gap > 2 * FAST_MS) {
        if (run.gaps.slice(0, -1).some((it) => it > FAST_MS)) begin(event);
        else run.doubt = run.keys.length <= 2 || run.doubt;
      }
    }
    if (!run.touched.has(at)) run.touched.set(at, at && at.value);
    run.keys += key;
    if (place === null) run.whole = false;
    else run.places += place;
    run.caps = run.caps || event.getModifierState("CapsLock");
    run.repeated = run.repeated || event.repeat;
    run.last = event.timeStamp;
    clearTimeout(silence);
    silence = setTimeout(() => {
      const same = run;
      const count = run && run.keys.length;
      // Keys that wait behind a busy page are let through first.
      setTimeout(() => {
        const silent = run && run === same && run.keys.length === count;
        if (silent && isFast(SHORTEST_WITHOUT_END) && !isElsewhere(run)) finish();
      }, 20);
    }, SILENCE_MS);
  }

  function isFast(shortest) {
    if (!run || run.repeated || run.keys.length < shortest) return false;
    const gaps = [...run.gaps].sort((a, b) => a - b);
    return gaps[Math.floor(gaps.length / 2)] <= FAST_MS;
  }

  // Takes the scan out of a field that it does not belong into.
  function takeBack(it) {
    for (const [at, before] of it.touched) {
      if ((takesText(at) || (at && at.tagName === "SELECT")) && (!isScanField(at) || at.tagName === "TEXTAREA")) at.value = before;
    }
  }

  // Letters turned around by a caps lock.
  function turned(text) {
    return [...text].map((it) => (it === it.toLowerCase() ? it.toUpperCase() : it.toLowerCase())).join("");
  }

  function finish() {
    const it = run;
    run = null;
    clearTimeout(silence);
    endedAt = performance.now();
    takeBack(it);
    const scan = field();
    if (scan && scan.tagName !== "TEXTAREA") scan.value = "";
    if (it.cut || it.doubt) return again(it.cut ? "This page was still opening when the scan began, so that its beginning may be missing." : "A key was pressed just before this scan, so that what was read is not certain.");
    const other = it.whole && it.places.toLowerCase() !== it.keys.toLowerCase();
    if (it.keys.toUpperCase() === TEST || (it.whole && it.places.toUpperCase() === TEST)) return learn(it, other);
    const set = other ? read(KEYBOARD) : "own";
    if ((other && set !== "own" && set !== "us") || (set === "own" && it.keys.includes(LOST))) {
      return again("The scanner and this computer may be set to different keyboards, so that what was read is not certain.", "Scan the test mark of the sheet of commands once, or set the scanner to this computer's keyboard.");
    }
    const text = set === "us" ? it.places : it.keys;
    if (it.caps && turned(text) !== text) {
      refocus();
      const meant = turned(text);
      return trouble(`Caps lock is on, so that "${plain(text)}" is not certain. Nothing was done. Take caps lock off and scan again.`, [[`It is ${plain(meant)}`, () => deliver(meant)]]);
    }
    deliver(text);
  }

  // The test mark tells once for this station what the scanner's keys mean.
  function learn(it, other) {
    refocus();
    if (it.caps) return trouble("Caps lock is on: take it off and scan the test mark again.");
    if (!other) {
      write(KEYBOARD, null);
      return band("The scanner and this computer are set alike.", "accepted");
    }
    const own = it.keys === TEST;
    if (!own && it.places !== TEST) {
      return trouble("The test mark was not read whole. Scan it again.");
    }
    write(KEYBOARD, own ? "own" : "us");
    band(own ? "The scanner is set to this computer's keyboard. This station remembers it." : "The scanner is set to a keyboard of the United States. This station remembers it.", "accepted");
  }

  function read(name) {
    try {
      return localStorage.getItem(name);
    } catch (_) {
      return null;
    }
  }

  function write(name, value) {
    try {
      if (value === null) localStorage.removeItem(name);
      else localStorage.setItem(name, value);
    } catch (_) {}
  }

  function refocus() {
    const scan = field();
    if (scan && !dialog()) scan.focus({ preventScroll: true });
  }

  // Gives a scan to the field of the page; while a question stands open it waits until that is answered.
  function deliver(text) {
    const scan = field();
    const asked = document.querySelector("[data-asks]");
    if (dialog() || !scan || (asked && !asked.contains(scan))) {
      if (!dialog() && !asked) return;
      wait(text);
      return;
    }
    // A patient's number goes nowhere, least of all into an address.
    if (/^(\]\w\w|\u001d)?\(?8018\)?\d{18}/.test(text)) return trouble("This is the wristband of a patient, and no part or set. Nothing of it was kept.");
    band("");
    refocus();
    if (scan.tagName === "TEXTAREA") {
      const lines = scan.value === "" || scan.value.endsWith("\n") ? "" : "\n";
      scan.value += `${lines}${text}\n`;
      return;
    }
    scan.value = text;
    if (scan.form) scan.form.requestSubmit();
  }

  function waiting() {
    try {
      return JSON.parse(sessionStorage.getItem(WAITING)) || [];
    } catch (_) {
      return [];
    }
  }

  function wait(text) {
    const all = [...waiting(), text];
    try {
      sessionStorage.setItem(WAITING, JSON.stringify(all));
    } catch (_) {
      return trouble("This station keeps nothing now: answer what is asked first, then scan again.");
    }
    band(`Kept until what is asked here is answered: ${all.map(plain).join(", ")}.`, "accepted");
  }

  // What was scanned while something was asked is given one after the other, once nothing is asked any more.
  function handOver() {
    const all = waiting();
    if (all.length === 0 || dialog() || document.querySelector("[data-asks]") || !field()) return;
    sessionStorage.setItem(WAITING, JSON.stringify(all.slice(1)));
    deliver(all[0]);
  }

  // In a field that is no scan field a scan is known by its speed, and by what is not written so by hand.
  function isElsewhere(it) {
    const all = [...it.touched.keys()];
    const at = all.at(-1);
    // A part's own mark and a patient's reference are meant for their fields, and a page without a scan field takes none.
    if ((at && (at.dataset.mark !== undefined || at.name === "patient")) || !(field() || document.querySelector("[data-asks]"))) return true;
    if (all.some(isScanField) || !takesText(at)) return false;
    if (at.tagName === "TEXTAREA") return true;
    if (at.type === "password") return /^\d{0,8}$/.test(it.keys) || !document.querySelector("[data-asks]");
    if (document.body.contains(document.querySelector("form[action='/badge'] input[name=badge]"))) {
      return !/^(\]\w\w)?8017\d{18}$/.test(it.keys);
    }
    return it.keys.length < 4 || /\s/.test(it.keys);
  }

  function onEnd(event) {
    const target = event.target;
    const now = performance.now();
    if (now - endedAt < SECOND_END_MS && !(run && run.keys)) {
      event.preventDefault();
      event.stopPropagation();
      return;
    }
    // The rest of a scan that began on the page before presses nothing here.
    const rest = event.timeStamp - (run ? run.last : openedAt) < OPENING_MS && (!run || run.cut);
    if (rest && (run ? run.keys.length < SHORTEST : isScanField(target))) {
      event.preventDefault();
      event.stopPropagation();
      return run && finish();
    }
    const fast = run && event.timeStamp - run.last <= APART_MS && isFast(SHORTEST);
    // What is scanned into one field of several ends in the next one: the end of a scan presses no button.
    const next = fast && target.dataset && target.dataset.next && target.form && target.form.elements[target.dataset.next];
    if (next && event.key === "Enter") {
      event.preventDefault();
      event.stopPropagation();
      run = null;
      clearTimeout(silence);
      return (next.focus ? next : next[0]).focus();
    }
    const presses = !takesText(target) && target.tagName !== "SELECT" && !dialog();
    if (fast && presses && !field() && !document.querySelector("[data-asks]")) {
      event.preventDefault();
      event.stopPropagation();
      run = null;
      return again("This page takes no scan.", "Open the desk, and scan there.");
    }
    if (!fast || isElsewhere(run)) {
      run = null;
      clearTimeout(silence);
      return;
    }
    if (isScanField(target) && target.tagName === "TEXTAREA" && event.key === "Enter" && !run.caps && run.keys === run.places) {
      run = null;
      clearTimeout(silence);
      return;
    }
    event.preventDefault();
    event.stopPropagation();
    finish();
  }

  document.addEventListener("keydown", (event) => {
    if (event.isComposing || event.key === "Process") return;
    if (["Shift", "CapsLock", "Control", "Alt", "AltGraph", "Meta"].includes(event.key)) return;
    // A key that waits for another letter says nothing by itself: only its place is known.
    if (event.key === "Dead") return take(event, LOST, byPlace(event));
    if (event.key === "Enter" || event.key === "Tab") return onEnd(event);
    const separator = isSeparator(event);
    const graph = event.getModifierState("AltGraph") || (event.ctrlKey && event.altKey);
    const letter = event.key.length === 1 && !event.metaKey && (graph || (!event.ctrlKey && !event.altKey));
    if (!separator && !letter) {
      if (event.key !== "Backspace" && event.key !== "Delete") return;
      run = null;
      return;
    }
    const going = run && event.timeStamp - run.last <= FAST_MS * 2;
    const free = !takesText(document.activeElement) && !dialog();
    const presses = event.key === " " && !going;
    if (going && event.key === " " && !takesText(document.activeElement)) event.preventDefault();
    if (free && field() && !presses) {
      const select = document.activeElement && document.activeElement.tagName === "SELECT";
      if (!select || going) {
        if (select && run && run.touched.has(document.activeElement)) document.activeElement.value = run.touched.get(document.activeElement);
        refocus();
        if (select && going) insert(field(), run.keys);
      }
    }
    if (separator) {
      event.preventDefault();
      if (takesText(document.activeElement)) insert(document.activeElement, SEPARATOR);
      take(event, SEPARATOR, SEPARATOR);
      return;
    }
    take(event, event.key, graph ? event.key : byPlace(event));
    // Letters that go nowhere press nothing either.
    if (dialog() && !takesText(document.activeElement)) event.preventDefault();
  }, true);

  document.addEventListener("close", () => setTimeout(handOver), true);

  // Nobody touches the station for the site's idle time: it locks itself.
  const idle = Number(document.body.dataset.idle || 0) * 60000;
  let touched = Date.now();
  for (const kind of ["keydown", "pointerdown"]) document.addEventListener(kind, () => { touched = Date.now(); }, true);
  if (idle > 0) {
    setInterval(() => {
      const out = document.querySelector("form.who");
      if (!out || Date.now() - touched < idle) return;
      touched = Date.now();
      const back = Object.assign(document.createElement("input"), { type: "hidden", name: "locked", value: location.pathname });
      out.append(back);
      out.submit();
    }, Math.min(idle / 4, 15000));
  }

  window.fettleScan = { sound, trouble, wait, handOver };
  document.addEventListener("DOMContentLoaded", handOver);
})();
