// The bay display. It shows what the kiosk last sent, and only while the kiosk goes on sending.
"use strict";
(() => {
  const silent = 5000; // ms without a frame after which nothing counts any more
  const jump = 2000; // ms by which the two clocks may part before something was wrong
  const trusted = window.trustedTypes
    ? trustedTypes.createPolicy("bayround", { createHTML: (s) => s })
    : { createHTML: (s) => s };
  const body = document.body;
  const byId = (id) => document.getElementById(id);
  const build = document.documentElement.dataset.build;

  let last = -Infinity; // performance.now() of the newest frame
  let beat = null; // of the newest frame
  let newestAt = 0; // latest time of the kiosk seen so far
  let doubt = -Infinity; // until then frames are not trusted: time ran backwards
  let wall = Date.now() - performance.now();
  let turns = 0;
  let wound = false;
  let wait = 500;
  let said = "";

  // --- what is shown
  function show(frame) {
    for (const r of frame.regions || []) {
      const at = byId(r.id);
      if (at) at.innerHTML = trusted.createHTML(r.html);
    }
    if (frame.regions) fitAll();
  }

  function text(node, s) { if (node.textContent !== s) node.textContent = s; }

  // judge decides whether what is shown may be taken for the truth.
  function judge() {
    const now = performance.now();
    const drift = Date.now() - now;
    if (Math.abs(drift - wall) > jump) { // the clock was set, or the machine slept
      if (drift > wall) last = -Infinity; // it slept: the picture is as old as that
      wall = drift;
    }
    const lost = now - last > silent || now < doubt;
    const dead = lost || !beat || !beat.live;
    const was = body.className;
    body.classList.toggle("lost", lost);
    body.classList.toggle("notlive", dead);
    if (lost) {
      let since = (beat && beat.clock) || body.dataset.since || "";
      const hours = Math.floor((now - Math.max(last, 0)) / 3600000);
      if (since && hours >= 20) since += ", " + hours + " h ago";
      for (const n of document.querySelectorAll(".since")) {
        text(n, since);
        n.parentNode.hidden = since === "";
      }
      hush();
    } else speak();
    if (was !== body.className) fitAll();
    text(byId("age"), age(now, lost));
  }

  function age(now, lost) {
    if (!beat) return "no word yet";
    if (beat.fault) return beat.fault;
    if (lost) return "kiosk silent";
    if (beat.age < 0) return beat.live ? "live" : "station never heard";
    const s = Math.round((beat.age + now - last) / 1000);
    if (s < 100) return "heard " + s + " s ago";
    return "heard " + (s < 6000 ? Math.round(s / 60) + " min ago" : Math.round(s / 3600) + " h ago");
  }

  // wind restarts the animation that covers the page when nobody winds it.
  function wind() {
    wound = !wound;
    byId("cover").className = wound ? "wound-a" : "wound-b";
    byId("hand").style.transform = "rotate(" + (++turns * 6) + "deg)";
  }

  // --- the largest type that fits
  function fitAll() {
    for (const el of document.querySelectorAll("[data-fit]")) if (el.offsetParent) fit(el);
  }

  function length(el, name) { // of a custom property, in px
    el.style.fontSize = "var(" + name + ")";
    return parseFloat(getComputedStyle(el).fontSize);
  }

  function fit(el) {
    el.classList.remove("cut");
    let low = length(el, "--least"), high = length(el, "--most");
    const fits = (px) => {
      el.style.fontSize = px + "px";
      return el.scrollWidth <= el.clientWidth + 1 && el.scrollHeight <= el.clientHeight + 1;
    };
    if (!(low > 0 && high > low) || fits(high)) return;
    for (let i = 0; i < 9; i++) {
      const middle = (low + high) / 2;
      if (fits(middle)) low = middle; else high = middle;
    }
    el.classList.toggle("cut", !fits(low)); // not even so: then it says that there is more
  }

  // --- the spoken command, each once; what is not live is not said either
  function speak() {
    const el = document.querySelector("[data-say]");
    const id = el ? el.dataset.sayId : "";
    if (id === said) return;
    said = id;
    hush();
    if (el && window.speechSynthesis) {
      const u = new SpeechSynthesisUtterance(el.dataset.say);
      u.lang = document.documentElement.lang;
      speechSynthesis.speak(u);
    }
  }
  function hush() { if (window.speechSynthesis) speechSynthesis.cancel(); }

  // --- the socket
  function connect() {
    const socket = new WebSocket((location.protocol === "https:" ? "wss://" : "ws://") + location.host + "/ws/bay");
    let guard = setTimeout(() => socket.close(), 2 * silent);
    socket.onmessage = (e) => {
      clearTimeout(guard);
      guard = setTimeout(() => socket.close(), 2 * silent); // a line that is dead without saying so
      const frame = JSON.parse(e.data);
      if (frame.build !== build) { // another program: its frames are not for this page
        socket.onmessage = null;
        setTimeout(() => location.reload(), 1000);
        return;
      }
      wait = 500;
      if (frame.beat.at < newestAt - 1000) { // the kiosk's time ran backwards: let it settle
        doubt = performance.now() + silent;
      }
      newestAt = frame.beat.at;
      show(frame);
      beat = frame.beat;
      last = performance.now();
      wind();
      judge();
    };
    socket.onclose = () => {
      clearTimeout(guard);
      setTimeout(connect, wait + Math.random() * wait);
      wait = Math.min(wait * 2, 5000);
    };
  }

  // --- a picture that stands still burns in: it wanders by a few pixels
  let place = 0;
  function wander() {
    const steps = [[0, 0], [3, 1], [5, 4], [2, 5], [-2, 4], [-5, 2], [-4, -2], [-1, -5], [3, -3]];
    const [x, y] = steps[place++ % steps.length];
    byId("board").style.transform = "translate(" + x + "px," + y + "px)";
  }
  const still = matchMedia("(prefers-reduced-motion: reduce)");
  setInterval(() => { if (!still.matches) wander(); }, 60000);

  // --- the screen stays lit where the browser allows it
  async function stayLit() {
    try { if (!document.hidden) await navigator.wakeLock.request("screen"); } catch { /* not here */ }
  }
  document.addEventListener("visibilitychange", stayLit);
  stayLit();

  addEventListener("resize", fitAll);
  setInterval(judge, 500);
  judge();
  fitAll();
  connect();
})();
