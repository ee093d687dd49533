// The tablet's page. Every act is an ordinary form; with the socket up the same
// values go as a frame, and the regions that changed come back.
"use strict";
(() => {
  const patience = 2000; // ms that an act may stay unanswered before it goes by POST
  const silent = 5000; // ms without a frame after which the line counts as cut
  const aimed = 300; // ms in which a finger on its way was aimed at what stood there before
  const trusted = window.trustedTypes
    ? trustedTypes.createPolicy("bayround", { createHTML: (s) => s })
    : { createHTML: (s) => s };
  const byId = (id) => document.getElementById(id);
  const build = document.documentElement.dataset.build;
  const me = Math.random().toString(36).slice(2, 10) + Date.now().toString(36);

  let socket = null;
  let upAt = performance.now(); // when the line was last seen up
  let boot = ""; // which start of the program the socket leads to
  let last = -Infinity; // performance.now() of the newest frame
  let turned = -Infinity; // when the page last turned to something else
  let wait = 250;
  let count = 0;
  let pending = []; // acts not yet answered, oldest first: {id, act, values, at}
  let posting = false;

  // --- regions: what is typed, the focus and what is scrolled stay
  function show(regions) {
    let another = false;
    for (const r of regions) {
      const at = byId(r.id);
      if (!at) continue;
      const kept = keep(at);
      at.innerHTML = trusted.createHTML(r.html);
      if (at.id !== "given" && kept.about !== about(at)) turned = performance.now();
      restore(at, kept);
      another ||= at.id === "main" && kept.about !== about(at);
    }
    if (another) { // whoever goes by keys, or listens, begins at its title and not at what stood there before
      const title = document.querySelector("#main h1");
      if (title) { title.tabIndex = -1; title.focus(); }
    }
    countDown();
  }

  function mark(el) { // how the same element is found again
    if (el.id) return "#" + CSS.escape(el.id);
    if (!el.name) return "";
    const value = el.tagName === "BUTTON" || el.type === "radio" ? "[value=\"" + CSS.escape(el.value) + "\"]" : "";
    const form = el.form && el.form.id ? "#" + CSS.escape(el.form.id) + " " : "";
    return form + el.tagName.toLowerCase() + "[name=\"" + CSS.escape(el.name) + "\"]" + value;
  }

  const isText = (el) => el.tagName === "TEXTAREA" || (el.tagName === "INPUT" && /^(text|search|password|tel|url|number|)$/.test(el.type));

  const textsIn = (region) => [...region.querySelectorAll("input, textarea")].filter(isText);
  const about = (region) => { const at = region.querySelector("[data-at]"); return at ? at.dataset.at : ""; };

  function keep(region) {
    const el = document.activeElement;
    return {
      about: about(region),
      focus: el && el !== region && region.contains(el) ? mark(el) : "",
      typed: textsIn(region).filter((f) => f.value !== f.defaultValue && mark(f))
        .map((f) => ({ at: mark(f), value: f.value, from: f.selectionStart, to: f.selectionEnd })),
      open: [...region.querySelectorAll("details")].map((d) => d.open),
      scrolls: [...region.querySelectorAll("[data-scroll][id]")].map((s) => [s.id, s.scrollTop, s.scrollLeft]),
    };
  }

  function restore(region, kept) {
    for (const [id, top, left] of kept.scrolls) {
      const s = byId(id);
      if (s) { s.scrollTop = top; s.scrollLeft = left; }
    }
    const same = kept.about === about(region); // it is still about the same thing
    if (same) region.querySelectorAll("details").forEach((d, i) => { if (kept.open[i]) d.open = true; });
    for (const t of same ? kept.typed : []) {
      const f = region.querySelector(t.at);
      if (!f || !isText(f)) continue;
      f.value = t.value;
      if (t.at === kept.focus) try { f.setSelectionRange(t.from, t.to); } catch { /* not in every kind of field */ }
    }
    const el = (kept.focus && region.querySelector(kept.focus)) || region.querySelector("[autofocus]");
    if (el) el.focus({ preventScroll: true });
  }

  // --- acts
  function valuesOf(form, button) {
    const values = {};
    for (const [k, v] of new FormData(form, button)) if (typeof v === "string") values[k] = v;
    const act = values.act;
    delete values.act;
    const at = form.closest("[data-at]"); // what the finger was at: the desk takes it for nothing else
    if (at && !("at" in values)) values.at = at.dataset.at;
    return { act, values };
  }

  const up = () => socket && socket.readyState === WebSocket.OPEN && boot !== "" && performance.now() - last < silent;

  document.addEventListener("submit", (e) => {
    const form = e.target;
    if (form.matches("[data-photo]")) { e.preventDefault(); sendPhoto(form); return; }
    if (!form.matches("[data-act]") || !up()) return; // the browser sends it
    const { act, values } = valuesOf(form, e.submitter);
    if (!act) return;
    e.preventDefault();
    send(form, act, values, e.timeStamp);
    if (form.matches("[data-shut]")) form.closest("details").open = false; // what comes next lies under it
  });

  function send(form, act, values, at) {
    if (performance.now() - turned < aimed && act !== "turnout") return;
    if (form.matches("[data-take]")) Object.assign(values, { page: me, ms: String(at) }); // how long it takes to be heard does not count
    form.querySelectorAll("[type=password]").forEach((f) => { f.value = ""; }); // a PIN does not stay
    const one = { id: boot + "." + me + "." + ++count, act, values, at: performance.now() };
    pending.push(one);
    socket.send(JSON.stringify({ id: one.id, act, values }));
  }

  // What is tapped or timed counts from when the glass is touched, not from when the
  // finger leaves it: by then the page may have drawn another button.
  let touched = false; // the touch under way was sent
  document.addEventListener("pointerdown", (e) => {
    const button = e.target.closest("[data-take] button");
    touched = Boolean(button) && e.button === 0 && up();
    if (!touched) return;
    const { act, values } = valuesOf(button.form, button);
    send(button.form, act, values, e.timeStamp);
  });
  document.addEventListener("click", (e) => { // keys and other aids click without a touch
    if (touched && e.detail > 0 && e.target.closest("[data-take] button")) e.preventDefault();
  });

  // The same acts in the same order by POST, under the same ids: what was carried
  // out already is not carried out again.
  async function post() {
    if (posting) return;
    posting = true;
    try {
      while (pending.length) {
        const one = pending[0];
        const body = new URLSearchParams({ ...one.values, act: one.act, "act-id": one.id });
        await fetch("/act", { method: "POST", body, redirect: "manual" });
        pending = pending.filter((p) => p !== one);
      }
      location.reload();
    } catch { // the program is not there; it is tried again as long as it is the same one
      posting = false;
    }
  }

  async function sendPhoto(form) {
    const data = new FormData(form);
    const file = form.querySelector("input[type=file]");
    if (!file || !file.files.length) return;
    say("Sending the photo.");
    try {
      const answer = await fetch("/photo", { method: "POST", body: data, redirect: "manual" });
      if (answer.type !== "opaqueredirect") { say(await answer.text()); return; }
      say("The photo is kept.");
      if (!up()) location.reload();
    } catch { say("The photo could not be handed over. Take it again."); }
  }

  document.addEventListener("change", (e) => {
    const el = e.target;
    if (!el.form) return;
    if (el.matches("[data-auto]") || (el.type === "file" && el.form.matches("[data-photo]"))) el.form.requestSubmit();
  });

  // --- a badge reader types fast, into a PIN too, and ends with Enter
  let read = "", readAt = 0;
  document.addEventListener("keydown", (e) => {
    const badge = byId("badge"), fast = e.timeStamp - readAt < 100;
    readAt = e.key === "Enter" ? 0 : e.timeStamp;
    if (e.key !== "Enter") read = (fast ? read : "") + (e.key[1] ? "" : e.key);
    else if (badge && fast && !/^(\d{0,8}|.{0,5})$/.test(read)) {
      e.preventDefault();
      e.stopImmediatePropagation();
      badge.value = read;
      byId("pin").value = "";
      badge.form.requestSubmit();
    }
  }, true);

  // --- keys: what a person types goes to the keypad
  document.addEventListener("keydown", (e) => {
    if (e.ctrlKey || e.altKey || e.metaKey || e.isComposing) return;
    const on = document.activeElement;
    if (on && on !== document.body) {
      if (isText(on) || on.matches("select, input[type=range], [contenteditable]")) return;
      if (e.key === " " || (e.key === "Enter" && on.matches("button:not([data-key]), a, summary"))) return;
    }
    const key = e.key === "," ? "." : e.key;
    if (!/^([0-9.\-]|Backspace|Enter)$/.test(key)) return;
    const button = document.querySelector("button[data-key=\"" + key + "\"]:not([disabled])");
    if (!button || e.repeat && key === "Enter") return;
    e.preventDefault();
    button.click();
  });

  document.addEventListener("click", (e) => { // keys of a PIN, which no frame carries one by one
    const key = e.target.closest("[data-put]");
    const pin = key && (document.querySelector("input.secret:focus") || byId("pin"));
    if (pin) pin.value = key.dataset.put ? pin.value + key.dataset.put : pin.value.slice(0, -1);
  });

  for (const touch of ["pointerdown", "mousedown"]) // the field keeps the focus, and so its keys in sight
    document.addEventListener(touch, (e) => { if (e.target.closest("[data-put]")) e.preventDefault(); });

  document.addEventListener("keypress", (e) => { // Enter is the pad's, whichever of its keys was touched last
    if (e.key === "Enter" && document.activeElement && document.activeElement.matches("button[data-key]")) e.preventDefault();
  });

  // --- words and seconds
  function say(s) {
    const at = byId("said");
    if (at && at.textContent !== s) at.textContent = s;
  }

  function countDown() { // looks only: what is taken is decided elsewhere
    for (const el of document.querySelectorAll("[data-hold]")) {
      const left = Math.ceil((+el.dataset.hold - Date.now()) / 1000);
      el.textContent = left > 0 ? left + " s" : "";
      if (left <= 0) el.removeAttribute("data-hold");
    }
    for (const el of document.querySelectorAll("[data-since]")) el.textContent = Math.max(0, Math.round((Date.now() - el.dataset.since) / 1000)) + " s";
  }

  function look() {
    const now = performance.now();
    const cut = byId("cut");
    const line = up();
    if (line) upAt = now;
    if (cut) cut.hidden = now - upAt < 1500; // a page that has just come is not cut off
    document.documentElement.dataset.line = line ? "up" : "down";
    if (!pending.length) return;
    if (boot && !pending[0].id.startsWith(boot + ".")) { pending = []; return; } // made for a program that is gone
    if (now - pending[0].at > patience) post();
  }

  // --- the socket
  function connect() {
    socket = new WebSocket((location.protocol === "https:" ? "wss://" : "ws://") + location.host + "/ws/tablet");
    const mine = socket;
    let guard = setTimeout(() => mine.close(), 2 * silent);
    mine.onmessage = (e) => {
      clearTimeout(guard);
      guard = setTimeout(() => mine.close(), 2 * silent);
      const frame = JSON.parse(e.data);
      if (frame.build !== build) { mine.onmessage = null; setTimeout(() => location.reload(), 1000); return; }
      last = performance.now();
      wait = 250;
      boot = frame.boot;
      if (frame.ack) {
        pending = pending.filter((p) => p.id !== frame.ack);
        say(frame.refused || "");
      }
      if (frame.beat.fault) say(frame.beat.fault);
      if (frame.regions) show(frame.regions);
      look();
    };
    mine.onclose = () => {
      clearTimeout(guard);
      setTimeout(connect, wait + Math.random() * wait);
      wait = Math.min(wait * 2, 4000);
      look();
    };
  }

  async function stayLit() {
    try { if (!document.hidden) await navigator.wakeLock.request("screen"); } catch { /* not here */ }
  }
  document.addEventListener("visibilitychange", stayLit);
  stayLit();

  setInterval(() => { look(); countDown(); }, 250);
  countDown();
  connect();
})();
