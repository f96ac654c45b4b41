// Keys, pedal, tones, camera. Nothing is computed here: the server sends what is shown.
"use strict";
(() => {
  const root = document.documentElement;
  const typing = (el) =>
    el && (el.isContentEditable || /^(INPUT|TEXTAREA|SELECT)$/.test(el.tagName));
  const seen = (el) => el && !el.disabled && el.getClientRects().length > 0;

  // An element with data-key="u" is pressed by that key; data-key-anywhere also while typing.
  // The pedal is one key, chosen in the settings: it presses what has data-pedal.
  document.addEventListener("keydown", (event) => {
    if (event.altKey || event.ctrlKey || event.metaKey || event.isComposing) return;
    const pedal = root.dataset.pedal;
    let target = null;
    if (pedal && event.key === pedal) {
      target = [...document.querySelectorAll("[data-pedal]")].find((el) => el !== root && seen(el));
      if (event.repeat) { event.preventDefault(); return; }
    } else {
      const wanted = [...document.querySelectorAll("[data-key]")].filter(
        (el) => el.dataset.key.split(" ").includes(event.key) && seen(el));
      // Enter on what the keyboard went to presses that, and takes no reading.
      const own = event.key === "Enter" && document.activeElement?.matches(
        ":is(.tools, .panel) :is(button, a[href], summary):focus-visible");
      if (own) return;
      target = wanted.find((el) => !typing(document.activeElement) || "keyAnywhere" in el.dataset);
    }
    if (!target) return;
    event.preventDefault();
    if (typing(target)) { target.focus(); if (target.select) target.select(); } else target.click();
  });

  // Settings: the pedal is learnt by pressing it.
  document.addEventListener("keydown", (event) => {
    if (!("learnKey" in (document.activeElement?.dataset ?? {}))) return;
    if (["Tab", "Shift", "Control", "Alt", "Meta"].includes(event.key)) return;
    event.preventDefault();
    document.activeElement.value = event.key;
  });

  // Tones: a result that arrives with data-tone sounds once. Pitch, number and length differ.
  const TONES = {
    pass: [[880, 0.09]],
    fail: [[220, 0.22], [165, 0.34]],
    undecided: [[440, 0.09], [520, 0.09], [440, 0.09]],
    missing: [],
    danger: [[1200, 0.12], [300, 0.12], [1200, 0.12], [300, 0.12]],
  };
  let audio = null;
  const wake = () => {
    if (!audio && window.AudioContext) audio = new AudioContext();
    if (audio && audio.state === "suspended") audio.resume();
  };
  document.addEventListener("pointerdown", wake);
  document.addEventListener("keydown", wake);
  let sounded = null;
  const sound = (first) => {
    const el = document.querySelector("[data-tone]");
    const name = el ? `${el.dataset.tone} ${el.dataset.toneId ?? ""}` : null;
    if (name === sounded) return;
    sounded = name;
    if (first || !el || !audio || audio.state !== "running" || "mute" in root.dataset) return;
    let at = audio.currentTime;
    for (const [pitch, length] of TONES[el.dataset.tone] ?? []) {
      const wave = audio.createOscillator();
      const level = audio.createGain();
      wave.frequency.value = pitch;
      level.gain.setValueAtTime(0.4, at);
      level.gain.exponentialRampToValueAtTime(0.001, at + length);
      wave.connect(level).connect(audio.destination);
      wave.start(at);
      wave.stop(at + length);
      at += length + 0.04;
    }
  };
  document.addEventListener("DOMContentLoaded", () => sound(true));

  // After a piece of the page came in: sound it, and put the cursor where it belongs.
  document.addEventListener("htmx:after:swap", () => {
    sound(false);
    const wanted = document.querySelector("[data-focus]");
    if (wanted && !typing(document.activeElement)) wanted.focus();
  });

  // A camera's picture, or a choice that needs no button, is sent at once.
  document.addEventListener("change", (event) => {
    if ("sendAtOnce" in event.target.dataset) event.target.form.requestSubmit();
  });

  // A form is sent once, however often a glove hits the button.
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (form.dataset.sent) { event.preventDefault(); return; }
    if (form.hasAttribute("hx-post")) return;
    form.dataset.sent = "yes";
    setTimeout(() => delete form.dataset.sent, 3000);
  });
  addEventListener("pageshow", () => {
    for (const form of document.forms) delete form.dataset.sent;
  });

  // What takes a while says that it is at work: the next page, or a piece of this one.
  let waiting = null;
  const working = (is) => {
    clearTimeout(waiting);
    const sign = document.getElementById("at-work");
    if (!sign) return;
    if (is) waiting = setTimeout(() => { sign.hidden = false; }, 700);
    else sign.hidden = true;
  };
  // A link may be a download, after which no page comes: only what is sent.
  document.addEventListener("submit", (event) => {
    if (event.target.method === "post" && !event.target.hasAttribute("hx-post")) working(true);
  });
  addEventListener("pageshow", () => working(false));
  document.addEventListener("htmx:before:request", () => working(true));
  document.addEventListener("htmx:finally:request", () => working(false));

  // Whether the bench answers.
  const cut = (is) => {
    const banner = document.getElementById("cut-off");
    if (banner) banner.hidden = !is;
  };
  document.addEventListener("htmx:sse:error", () => cut(true));
  document.addEventListener("htmx:sse:after:connection", () => cut(false));
  document.addEventListener("htmx:error", () => cut(true));
  document.addEventListener("htmx:after:request", () => cut(false));
})();
