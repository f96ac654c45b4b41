// The proof screen's keys, number pad, panels and drafts. What is shown comes from the server.
"use strict";
(() => {
  const root = document.documentElement;
  root.classList.add("js");
  const by = (id) => document.getElementById(id);
  const entry = by("entry");
  const value = by("value");
  const keep = (name, text) => { try { localStorage.setItem(name, text); } catch { /* private */ } };
  const kept = (name) => { try { return localStorage.getItem(name) ?? ""; } catch { return ""; } };
  const forget = (name) => { try { localStorage.removeItem(name); } catch { /* private */ } };
  const proof = entry?.dataset.proof ?? location.pathname;

  // Sound: never the only sign, and off where it disturbs.
  const mute = by("mute");
  const muted = (is) => {
    root.toggleAttribute("data-mute", is);
    if (!mute) return;
    mute.hidden = false;
    mute.setAttribute("aria-pressed", String(is));
    mute.textContent = is ? "Sound off" : "Sound on";
  };
  muted(kept("mute") === "yes");
  mute?.addEventListener("click", () => {
    const is = !root.hasAttribute("data-mute");
    keep("mute", is ? "yes" : "");
    muted(is);
  });

  // As found or as left.
  const which = by("which");
  which?.addEventListener("click", () => {
    const found = root.toggleAttribute("data-found");
    which.setAttribute("aria-pressed", String(found));
    which.textContent = found ? "As left" : "As found";
  });

  // The connector from its mating side or its wire side: whoever probes from behind stays there.
  const side = by("side");
  const turned = (is) => {
    if (is) root.dataset.side = "wire"; else delete root.dataset.side;
    side?.setAttribute("aria-pressed", String(is));
    if (side) side.textContent = is ? "Mating side" : "Wire side";
  };
  turned(kept("side") === "wire");
  side?.addEventListener("click", () => {
    const is = root.dataset.side !== "wire";
    keep("side", is ? "wire" : "");
    turned(is);
  });

  // One panel is open at a time.
  const openers = [...document.querySelectorAll("[data-opens]")];
  const open = (name) => {
    for (const one of openers) {
      const is = one.dataset.opens === name && one.getAttribute("aria-expanded") !== "true";
      one.setAttribute("aria-expanded", String(is));
      const panel = by(one.dataset.opens);
      panel.classList.toggle("open", is);
      if (is) {
        panel.querySelector("input:not([type=hidden]), select, textarea")?.focus();
        panel.scrollIntoView({ block: "nearest" });
      }
    }
  };
  for (const one of openers) one.addEventListener("click", () => open(one.dataset.opens));
  // Another page may lead to a panel.
  const led = location.hash.slice(1);
  if (openers.some((one) => one.dataset.opens === led)) open(led);
  document.addEventListener("keydown", (event) => {
    if (event.key !== "Escape") return;
    open("");
    leave();
    value?.focus();
  });

  // Drafts outlive a reload and a power cut.
  const drafts = [...document.querySelectorAll("[data-keep]")];
  const named = (el) => `${proof}/${el.dataset.keep}`;
  for (const el of drafts) {
    if (!el.value) el.value = kept(named(el));
    el.addEventListener("input", () => keep(named(el), el.value));
  }

  // The cell is the handle: any of them takes the place of the last reading, and leaves it again.
  const cell = by("cell");
  const links = () => [...document.querySelectorAll(".cells a[data-cell]")].filter(
    (el) => el.getClientRects().length);
  const query = (text) => new URLSearchParams(text.split("?")[1] ?? text);
  const sameCell = (one, other) => ["at", "pins"].every((name) => one.get(name) === other.get(name));
  let waiting = 0;
  let where = by("chosen")?.dataset.where ?? "";
  let mine = null;
  const marked = () => {
    for (const one of links()) {
      const is = where !== "" && sameCell(query(one.search), query(where));
      one.toggleAttribute("data-chosen", is);
      if (is) one.setAttribute("aria-current", "true"); else one.removeAttribute("aria-current");
    }
    root.toggleAttribute("data-cell", where !== "");
  };
  const readMine = () => {
    const found = by("mine");
    mine = found && where ? { ...found.dataset } : null;
  };
  const leave = () => {
    if (!where) return;
    where = "";
    mine = null;
    clearTimeout(waiting);
    cell.replaceChildren();
    marked();
    follow();
  };
  const choose = async (told) => {
    clearTimeout(waiting);
    where = told;
    const asked = query(told);
    mine = asked.get("do") === "again"
      ? { position: asked.get("at"), pins: asked.get("pins"), lean: asked.get("lean") ?? "", again: "yes" }
      : null;
    marked();
    follow();
    const answer = await fetch(`${location.pathname}/cell?${told}`).catch(() => null);
    const text = answer ? await answer.text() : "";
    if (where !== told) return;
    cell.innerHTML = text;
    htmx.process(cell);
    readMine();
    follow();
    cell.querySelector("[data-first]")?.focus();
    const place = by(mine ? "mine" : "chosen");
    place?.scrollIntoView({ block: "nearest" });
  };
  document.addEventListener("click", (event) => {
    const link = event.target.closest("a[data-cell], a[data-leave]");
    if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    if ("leave" in link.dataset) { leave(); value?.focus(); return; }
    const told = link.search.slice(1);
    choose(told);
    if (query(told).get("do") === "again") value?.focus({ preventScroll: true });
  });
  const across = () => document.querySelectorAll(".cells thead th").length - 1;
  const STEPS = { ArrowLeft: -1, ArrowRight: 1, ArrowUp: "up", ArrowDown: "down" };
  const goTo = (link) => {
    link.focus();
    clearTimeout(waiting);
    waiting = setTimeout(() => choose(link.search.slice(1)), 60);
  };
  document.addEventListener("keydown", (event) => {
    if (event.altKey || event.ctrlKey || event.metaKey || event.isComposing) return;
    const at = document.activeElement;
    const all = links();
    const here = all.indexOf(at);
    if (event.key in STEPS) {
      if (here < 0 && !(at === value && value.value === "")) return;
      event.preventDefault();
      const step = { up: -across(), down: across() }[STEPS[event.key]] ?? STEPS[event.key];
      const from = here < 0 ? all.findIndex((el) => el.closest(".next")) : here;
      const to = all[here < 0 ? Math.max(from, 0) : here + step];
      if (to) goTo(to);
    } else if (here >= 0 && value && /^[\d.,*/-]$/.test(event.key)) {
      // What is typed on a cell is a new reading of it.
      clearTimeout(waiting);
      event.preventDefault();
      choose(`${at.search.slice(1)}&do=again`);
      value.focus({ preventScroll: true });
      const key = document.querySelector(`#entry [data-key~="${event.key}"]`);
      if (key) key.click(); else put(event.key);
    }
  });

  let follow = () => {};
  let put = () => {};
  document.addEventListener("htmx:after:swap", marked);
  if (where) readMine();
  marked();
  if (!entry) return;
  const fields = ["position", "pins", "lean", "again", "seq"];
  const elsewhere = by("elsewhere");
  const draft = `${proof}/value`;
  const told = () => [entry.elements.pins, entry.elements.position]
    .map((one) => one.value).filter(Boolean).join(" in ");
  // What is asked for: the cell that was chosen to be read, else what the stage says.
  const askedNow = () => {
    const found = by("asked");
    if (mine) return { ...mine, seq: document.querySelector("[data-seq]")?.dataset.seq ?? "" };
    return found ? found.dataset : null;
  };
  const isAsked = (asked) => fields.every(
    (name) => name === "seq" || entry.elements[name].value === (asked[name] ?? ""));

  let sent = null;
  let ahead = false;
  // What is being typed belongs to the cell that was asked for when it was begun; what is typed
  // while a reading is on its way, to the one after it.
  follow = () => {
    const asked = askedNow();
    const typing = value.value.trim() !== "";
    if (asked && (!typing || ahead)) {
      for (const name of fields) entry.elements[name].value = asked[name] ?? "";
    }
    entry.hidden = !asked && !typing;
    const other = typing && !(asked && isAsked(asked));
    elsewhere.hidden = !other;
    if (other) {
      elsewhere.textContent = `What you are typing is still for ${told()}: confirm it, or delete it to go on.`;
    }
    const undo = document.querySelector("#undo-form [name=seq]");
    const last = document.querySelector("[data-undo]");
    if (undo && last) undo.value = last.dataset.undo;
    const unturn = document.querySelector("#unturn-form");
    if (unturn && last) {
      unturn.elements.seq.value = last.dataset.unturn;
      unturn.hidden = last.dataset.unturn === "0";
    }
  };
  const typed = () => {
    if (sent === entry) ahead = true;
    const text = value.value.trim();
    if (text) {
      const cell = Object.fromEntries(fields.map((name) => [name, entry.elements[name].value]));
      keep(draft, JSON.stringify({ text: value.value, cell }));
    } else forget(draft);
    follow();
  };
  try {
    const was = JSON.parse(kept(draft) || "null");
    if (was && !value.value) {
      value.value = was.text;
      for (const name of fields) entry.elements[name].value = was.cell[name];
    }
  } catch { forget(draft); }
  value.addEventListener("input", typed);
  follow();

  put = (text) => {
    if (text === "⌫") value.value = value.value.slice(0, -1);
    else if (/^[\d.,kM-]$/.test(text)) value.value += text;
    else value.value = text;
    typed();
    value.focus();
  };
  for (const one of document.querySelectorAll("[data-put]")) {
    one.addEventListener("click", () => put(one.dataset.put));
  }

  // While the cursor is in the value, the other keys of the number pad still do what they say.
  // Minus is a digit: a meter that was nulled shows -0.1.
  const KEYS = ["+", "/", "*", " ", "F13", "u", "r", "s"];
  let emptied = 0;
  value.addEventListener("input", () => { if (!value.value) emptied = Date.now(); });
  value.addEventListener("keydown", (event) => {
    if (event.altKey || event.ctrlKey || event.metaKey || event.isComposing) return;
    if (event.repeat && (event.key === "Enter" || KEYS.includes(event.key))) {
      event.preventDefault();
      return;
    }
    // Who deletes what was typed may press once too often.
    const undoes = event.key === "Backspace" && value.value === "" && !event.repeat
      && Date.now() - emptied > 700;
    const name = undoes ? "u" : event.key;
    if (!KEYS.includes(name)) return;
    event.preventDefault();
    event.stopPropagation();
    if (event.key === " " || event.key === "F13") entry.querySelector("[data-pedal]").click();
    else {
      const target = [...document.querySelectorAll("[data-key]")]
        .find((el) => el.dataset.key.split(" ").includes(name) && el.getClientRects().length);
      target?.click();
    }
  });

  // On a touch screen the large pad of the page takes the place of the small one of the system.
  if (matchMedia("(pointer: coarse)").matches) {
    value.inputMode = "none";
    by("pad").open = true;
  }

  // A form is on its way once at a time. The value goes at once, so that the next can be typed, and
  // comes back if it was not recorded.
  let held = "";
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (!form.hasAttribute("hx-post")) return;
    if (sent) { event.preventDefault(); event.stopImmediatePropagation(); return; }
    sent = form;
    root.classList.add("sent");
  }, true);
  document.addEventListener("htmx:before:request", (event) => {
    if (event.target !== entry) return;
    held = value.value;
    value.value = "";
  });
  document.addEventListener("htmx:finally:request", (event) => {
    if (!sent || event.target !== sent) return;
    const form = sent;
    const said = document.querySelector("#said [data-kept]");
    const recorded = said?.dataset.kept === "yes";
    if (said) delete said.dataset.kept;
    sent = null;
    root.classList.remove("sent");
    if (form === entry) {
      if (recorded) { forget(draft); leave(); } else if (!value.value) { value.value = held; value.select(); }
      if (value.value) typed();
    } else if (recorded) {
      for (const el of form.querySelectorAll("[data-keep]")) forget(named(el));
      form.reset();
      if (form.closest(".panel")) open("");
      if (form.closest("#cell") || form.id === "slip-form") leave();
    }
    follow();
    if (recorded && form !== entry) scrollTo({ top: 0 });
    if (recorded && !entry.hidden) value.focus({ preventScroll: form !== entry });
    ahead = false;
  });
  let shown = document.querySelector("[data-seq]")?.dataset.seq;
  document.addEventListener("htmx:after:swap", () => {
    follow();
    // Somebody else may have read on: what was chosen is shown as it is now, unless a form is filled.
    const seq = document.querySelector("[data-seq]")?.dataset.seq;
    if (seq !== shown && where && !cell.querySelector("form")) choose(where);
    shown = seq;
    if (document.activeElement === document.body && !entry.hidden) {
      value.focus({ preventScroll: true });
    }
  });
  document.addEventListener("htmx:response:error", () => {
    const said = document.createElement("p");
    said.className = "mistake";
    said.textContent = "That was not recorded: load the page anew, and repeat it.";
    by("said").replaceChildren(said);
  });
})();
