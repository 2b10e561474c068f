/* Choosing a note: that moment of the take, then the right pitch. Without sound in the page, the pitch alone. */
"use strict";
(function () {
  const now = document.getElementById("now");
  const store = document.getElementById("take-sound");
  /* The buttons know the moments and pitches; the notes of the staves answer as their buttons do. */
  const buttons = new Map();
  document.querySelectorAll("button.note").forEach(function (button) { buttons.set(button.dataset.item, button); });
  const staffNotes = Array.from(document.querySelectorAll("g.note"));
  const notes = Array.from(buttons.values()).concat(staffNotes);
  const Context = window.AudioContext || window.webkitAudioContext;
  let context = null;
  let take = null;
  let playing = [];
  let turn = 0;

  function open() {
    if (context === null) { context = new Context(); }
    return context.resume();
  }

  /* The take, decoded once, when it is first asked for. */
  function decoded() {
    if (take === null) {
      const text = atob(store.textContent);
      const bytes = new Uint8Array(text.length);
      for (let k = 0; k !== text.length; k += 1) { bytes[k] = text.charCodeAt(k); }
      take = new Promise(function (done, failed) { context.decodeAudioData(bytes.buffer, done, failed); });
    }
    return take;
  }

  function hush() {
    playing.forEach(function (source) { try { source.stop(); } catch (over) { return; } });
    playing = [];
  }

  /* A gain that rises and falls softly, so that nothing clicks. */
  function soft(at, lasts, loud, rise) {
    const gain = context.createGain();
    gain.gain.setValueAtTime(0, at);
    gain.gain.linearRampToValueAtTime(loud, at + rise);
    gain.gain.setValueAtTime(loud, at + lasts - rise);
    gain.gain.linearRampToValueAtTime(0, at + lasts);
    gain.connect(context.destination);
    return gain;
  }

  function playSpan(sound, at, from, to) {
    const source = context.createBufferSource();
    source.buffer = sound;
    source.connect(soft(at, to - from, Number(store.dataset.gain), 0.02));
    source.start(at, from, to - from);
    playing.push(source);
  }

  /* Four quiet partials. */
  function playPitch(at, hertz) {
    const out = soft(at, 1.2, 0.12, 0.08);
    [1, 0.4, 0.2, 0.1].forEach(function (share, k) {
      const tone = context.createOscillator();
      const level = context.createGain();
      tone.frequency.value = hertz * (k + 1);
      level.gain.value = share;
      tone.connect(level);
      level.connect(out);
      tone.start(at);
      tone.stop(at + 1.2);
      playing.push(tone);
    });
  }

  function item(note) { return note.dataset.item || note.dataset.note; }

  function choose(shown) {
    const note = buttons.get(item(shown));
    if (note === undefined) { return; }
    const mine = turn += 1;
    const label = note.getAttribute("aria-label");
    const hasSpan = store !== null ? note.dataset.from !== undefined : false;
    notes.forEach(function (other) { other.classList.toggle("chosen", item(other) === note.dataset.item); });
    now.textContent = label + (hasSpan ? ". Now: your take, then the right pitch." : ". Now: the right pitch.");
    if (Context === undefined) {
      now.textContent = label + ". This browser cannot play sound here.";
      return;
    }
    hush();
    open().then(function () { return hasSpan ? decoded() : null; }).then(function (sound) {
      if (mine !== turn) { return; }
      const at = context.currentTime + 0.05;
      let next = at;
      if (sound !== null) {
        const from = Number(note.dataset.from);
        const to = Number(note.dataset.to);
        playSpan(sound, at, from, to);
        next = at + to - from + 0.25;
      }
      playPitch(next, Number(note.dataset.hertz));
    }).catch(function () { now.textContent = label + ". The sound could not be played in this browser."; });
  }

  notes.forEach(function (note, k) {
    note.addEventListener("click", function () { choose(note); });
    note.addEventListener("keydown", function (key) {
      const step = key.key === "ArrowRight" ? 1 : key.key === "ArrowLeft" ? -1 : 0;
      if (key.key === "Escape") { turn += 1; hush(); }
      if (step !== 0 ? notes[k + step] !== undefined : false) { notes[k + step].focus(); key.preventDefault(); }
      if (note.tagName !== "BUTTON" ? key.key === "Enter" || key.key === " " : false) {
        choose(note);
        key.preventDefault();
      }
    });
  });
})();
