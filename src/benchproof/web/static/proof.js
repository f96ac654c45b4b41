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

  // One panel is open at a time.
  const openers = [...document.querySelectorAll("[data-opens]")];
  const open = (name) => {
    for (const one of openers) {
      const is = one.dataset.opens === name && one.getAttribute("aria-expanded") !== "true";
      one.setAttribute("aria-expanded", String(is));
      const panel = by(one.dataset.opens);
      panel.classList.toggle("open", is);
      if (is) {
        panel.querySelector("input:not([type=hidden]), select")?.focus();
        panel.scrollIntoView({ block: "nearest" });
      }
    }
  };
  for (const one of openers) one.addEventListener("click", () => open(one.dataset.opens));
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape") { open(""); value?.focus(); }
  });

  // Drafts outlive a reload and a power cut.
  const drafts = [...document.querySelectorAll("[data-keep]")];
  const named = (el) => `${proof}/${el.dataset.keep}`;
  for (const el of drafts) {
    if (!el.value) el.value = kept(named(el));
    el.addEventListener("input", () => keep(named(el), el.value));
  }

  if (!entry) return;
  const fields = ["position", "pins", "lean", "again", "seq"];
  const elsewhere = by("elsewhere");
  const draft = `${proof}/value`;
  const told = () => [entry.elements.pins, entry.elements.position]
    .map((one) => one.value).filter(Boolean).join(" in ");
  const isAsked = (asked) => fields.every(
    (name) => name === "seq" || entry.elements[name].value === (asked.dataset[name] ?? ""));

  let sent = null;
  let ahead = false;
  // What is being typed belongs to the cell that was asked for when it was begun; what is typed
  // while a reading is on its way, to the one after it.
  const follow = () => {
    const asked = by("asked");
    const typing = value.value.trim() !== "";
    if (asked && (!typing || ahead)) {
      for (const name of fields) entry.elements[name].value = asked.dataset[name] ?? "";
    }
    entry.hidden = !asked && !typing;
    const other = typing && !(asked && isAsked(asked));
    elsewhere.hidden = !other;
    if (other) {
      elsewhere.textContent = `Another screen read on. What you are typing is still for ${told()}: `
        + "confirm it, or delete it to go on.";
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

  const put = (text) => {
    if (text === "⌫") value.value = value.value.slice(0, -1);
    else if (/^[\d.kM]$/.test(text)) value.value += text;
    else value.value = text;
    typed();
    value.focus();
  };
  for (const one of document.querySelectorAll("[data-put]")) {
    one.addEventListener("click", () => put(one.dataset.put));
  }

  // While the cursor is in the value, the other keys of the number pad still do what they say.
  const KEYS = ["-", "+", "/", "*", " ", "F13"];
  value.addEventListener("keydown", (event) => {
    if (event.altKey || event.ctrlKey || event.metaKey || event.isComposing) return;
    if (event.repeat && (event.key === "Enter" || KEYS.includes(event.key))) {
      event.preventDefault();
      return;
    }
    if (!KEYS.includes(event.key)) return;
    event.preventDefault();
    event.stopPropagation();
    if (event.key === " " || event.key === "F13") entry.querySelector("[data-pedal]").click();
    else {
      const target = [...document.querySelectorAll("[data-key]")]
        .find((el) => el.dataset.key.split(" ").includes(event.key));
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
      if (recorded) forget(draft);
      else if (!value.value) { value.value = held; value.select(); }
      if (value.value) typed();
    } else if (recorded) {
      for (const el of form.querySelectorAll("[data-keep]")) forget(named(el));
      form.reset();
      if (form.closest(".panel")) open("");
    }
    follow();
    if (recorded && form !== entry) scrollTo({ top: 0 });
    if (recorded && !entry.hidden) value.focus({ preventScroll: form !== entry });
    ahead = false;
  });
  document.addEventListener("htmx:after:swap", () => {
    follow();
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
