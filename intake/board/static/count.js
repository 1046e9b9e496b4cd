// The count page: what is tapped is kept on the phone at once, under a key made at the tap, and sent when it can be.
// Written for plain http on a farm's network: no crypto.randomUUID, and a service worker only where there is https.
"use strict";
(function () {
  const ENTRY = "vatside:entry:", FACTS = "vatside:facts", RECENT = "vatside:recent";
  const FIRST_WAIT = 2000, LONGEST_WAIT = 60000, ONE_TRY = 8000, ONE_PHOTO = 40000;
  const WORDS = { dead: "dead", doa: "dead in the bag", missing: "missing", wrong: "wrong", found: "found again", weak: "weak" };
  const $ = (id) => document.getElementById(id);
  $("plain").hidden = true;
  const build = document.documentElement.dataset.build;

  let facts = read(FACTS) || { batches: {}, who: "", may: {} };
  let sure = "";  // what was asked about, until it is tapped again
  let batch = "", place = "", busy = false, again = false, timer = 0, wait = FIRST_WAIT, held = "", sent = 0, trouble = "", asked = false;

  // ── what is kept on the phone ─────────────────────────────────────────────────────────────────────────────────
  function read(key) {
    try { return JSON.parse(localStorage.getItem(key)); } catch (error) { return null; }
  }
  function keep(key, value) {
    try {
      localStorage.setItem(key, JSON.stringify(value));
      return true;
    } catch (error) { return false; }
  }
  const keeps = keep("vatside:probe", 1);
  const NOTHING_KEPT = "This browser keeps nothing for this page, so it cannot count safely. Leave private mode, allow storage, use another browser, or ";
  function entries() {
    const found = [];
    if (!keeps) return found;
    for (let i = 0; i < localStorage.length; i += 1) {
      const key = localStorage.key(i);
      const entry = key.startsWith(ENTRY) ? read(key) : null;
      if (entry) found.push(entry);
    }
    // By turn, not by time: a clock that is set back must not send an undo before its count.
    return found.sort((a, b) => a.turn - b.turn || a.made - b.made);
  }
  const waiting = () => entries().filter((entry) => !entry.refused);
  const refused = () => entries().filter((entry) => entry.refused);

  function freshKey() {
    const bytes = new Uint8Array(16);
    crypto.getRandomValues(bytes);
    return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  }
  const page = freshKey(), DAY = 86400000;
  function queue(kind, words, body) {
    const turn = entries().reduce((last, entry) => Math.max(last, entry.turn), 0) + 1;
    const times = { made: Date.now(), turn, page, tick: performance.now() };
    const entry = Object.assign({ key: freshKey(), kind, words, body, who: facts.who || "", refused: "" }, times);
    if (!keep(ENTRY + entry.key, entry)) {
      trouble = keeps ? "NOT saved: this phone's storage is full. Connect, wait until all is sent, and count again." : "NOT saved. " + NOTHING_KEPT;
      draw();
      return null;
    }
    trouble = "";
    draw();
    flush();
    return entry;
  }

  // ── sending ───────────────────────────────────────────────────────────────────────────────────────────────────
  async function flush() {
    if (busy) { again = true; return; }
    busy = true;
    clearTimeout(timer);
    held = "";
    try {
      for (const entry of waiting()) {
        if (entry.who && facts.who && entry.who !== facts.who) {
          // On a shared tablet: what somebody else tapped waits for them and holds nobody up.
          held = held || entry.who + " must sign in to send these counts";
          continue;
        }
        const verdict = await send(entry);
        if (verdict === "taken") { wait = FIRST_WAIT; continue; }
        held = verdict;
        break;
      }
    } finally { busy = false; }
    draw();
    if (again) { again = false; flush(); return; }
    if (waiting().length) {
      timer = setTimeout(flush, wait);
      wait = Math.min(LONGEST_WAIT, wait * 2);
    }
  }

  async function send(entry, second) {
    let answer, told = null;
    try {
      answer = await post(entry);
      told = await answer.json();
    } catch (error) { /* no answer, or not from the board */ }
    if (!answer) return "no connection";
    if (answer.status === 413 && entry.kind === "photo") return settle(entry, "The photo is too large.");
    if (!told || !Array.isArray(told.said)) return "no answer from the board";
    if (answer.ok) {
      localStorage.removeItem(ENTRY + entry.key);
      sent += 1;
      mark(entry, "sent");
      if (told.facts) learn(Object.assign({}, facts, told.facts));
      if (Math.abs(told.clock_off_minutes || 0) >= 5) trouble = "This phone's clock is " + Math.abs(told.clock_off_minutes) + " minutes off.";
      draw();
      return "taken";
    }
    if (answer.status === 403 && told.stale && !second) {
      await refresh();
      return send(entry, true);
    }
    if (answer.status === 401) return "sign in";
    if (answer.status === 403) return told.said[0] || "sign in";
    if (answer.status === 503) return told.said[0] || "the board is busy";
    if (answer.status === 429 || answer.status === 408 || answer.status >= 500) return "the board is busy";
    const rules = told.rules || [];
    return settle(entry, told.said.join(" "), rules.length > 0 && rules.every((one) => one.severity === "reason"));
  }

  function settle(entry, why, asks) {
    // A verdict: it will not be tried again, but it stays in sight until somebody has read it, or tapped that it is so.
    keep(ENTRY + entry.key, Object.assign({}, entry, { refused: why, asks: Boolean(asks) }));
    mark(entry, "refused");
    draw();
    return "taken";
  }

  function insist(entry) {
    // The board asked and nothing was saved: the second tap is the reason, under the same key.
    const body = Object.assign({}, entry.body, { despite: "checked again on the phone" });
    keep(ENTRY + entry.key, Object.assign({}, entry, { refused: "", asks: false, body }));
    keep(RECENT, recent().map((one) => (one.key === entry.key ? Object.assign({}, one, { state: "waiting" }) : one)));
    draw();
    flush();
  }

  function post(entry) {
    const stop = new AbortController();
    const limit = setTimeout(() => stop.abort(), entry.kind === "photo" ? ONE_PHOTO : ONE_TRY);
    const headers = { "x-vatside-form": facts.form_token || "", accept: "application/json" };
    const now = Date.now(), ticked = performance.now() - entry.tick;
    // A clock that was set meanwhile says nothing of the time waited; the page's own ticks do, if the page is the same.
    const set = entry.page === page && Math.abs(now - entry.made - ticked) > DAY;
    const times = { key: entry.key, who: entry.who, tapped_ms: set ? now - Math.round(ticked) : entry.made, sent_ms: now };
    let body;
    if (entry.kind === "photo") {
      body = new FormData();
      Object.keys(times).forEach((name) => body.append(name, String(times[name])));
      body.append("batch", entry.body.batch);
      body.append("photo", blobOf(entry.body.picture), "photo.jpg");
    } else {
      headers["content-type"] = "application/json";
      body = JSON.stringify(Object.assign(times, entry.body));
    }
    const request = { method: "POST", headers, body, signal: stop.signal, credentials: "same-origin", cache: "no-store" };
    return fetch("/api/" + entry.kind, request).finally(() => clearTimeout(limit));
  }

  function blobOf(picture) {
    const bytes = atob(picture.split(",")[1]);
    return new Blob([Uint8Array.from(bytes, (letter) => letter.charCodeAt(0))], { type: "image/jpeg" });
  }

  async function refresh() {
    try {
      const answer = await fetch("/api/facts", { cache: "no-store", credentials: "same-origin" });
      if (answer.status === 401) { held = "sign in"; learn(Object.assign({}, facts, { who: "", form_token: "" })); draw(); return; }
      if (!answer.ok) return;
      learn(await answer.json());
      draw();
      await renew();
    } catch (error) { /* no connection: what was learnt last is shown */
    } finally { asked = true; }
  }
  function learn(fresh) {
    facts = fresh;
    keep(FACTS, facts);
  }
  async function renew() {
    // The shell is kept for a week; when the board has a newer one it is fetched past the cache and opened once.
    if (!facts.build || facts.build === build || sessionStorage.getItem("vatside:renewed") === facts.build) return;
    await fetch("/c", { cache: "reload", credentials: "same-origin" });
    sessionStorage.setItem("vatside:renewed", facts.build);
    if (!counted() && !waiting().length) location.reload();
  }

  // ── what was counted lately ───────────────────────────────────────────────────────────────────────────────────
  function recent() { return read(RECENT) || []; }
  function remember(entry) {
    keep(RECENT, [{ key: entry.key, words: entry.words, made: entry.made, body: entry.body, state: "waiting" }].concat(recent()).slice(0, 12));
  }
  function mark(entry, state) {
    const key = entry.kind === "undo" ? entry.body.undoes : entry.key;
    const now = entry.kind === "undo" ? (state === "sent" ? "undone" : "undo refused") : state;
    keep(RECENT, recent().map((one) => (one.key === key ? Object.assign({}, one, { state: now }) : one)));
  }
  function undo(one) {
    const entry = queue("undo", "Undo: " + one.words, { undoes: one.key });
    if (!entry) return;
    keep(RECENT, recent().map((other) => (other.key === one.key ? Object.assign({}, other, { state: "undo waiting" }) : other)));
    draw();
  }

  // ── the page ──────────────────────────────────────────────────────────────────────────────────────────────────
  const inputs = {};
  document.querySelectorAll(".stepper").forEach((row) => {
    const input = row.querySelector("input"), head = row.dataset.head;
    inputs[head] = input;
    const step = (by) => { input.value = String(Math.max(0, whole(input) + by)); ready(); };
    row.querySelector(".less").addEventListener("click", () => step(-1));
    row.querySelector(".more").addEventListener("click", () => step(1));
    input.addEventListener("input", ready);
    input.addEventListener("focus", () => input.select());
  });
  function whole(input) { return /^\d{1,6}$/.test(input.value.trim()) ? Number(input.value.trim()) : 0; }
  function total() { return Object.keys(inputs).reduce((sum, head) => sum + whole(inputs[head]), 0); }
  const typed = (id) => /^\d{1,6}$/.test($(id).value.trim());
  const counted = () => total() > 0 || typed("alive") || typed("in-box");
  ["alive", "in-box", "box"].forEach((id) => $(id).addEventListener("input", () => ready()));
  function ready() {
    $("save").disabled = !counted() || !place;
    $("save").textContent = counted() && !place ? "Choose the vat first" : "Save";
    const known = facts.batches[batch], here = known && known.places.find((one) => one[0] === place);
    const out = ["doa", "dead", "missing", "wrong"].map((head) => whole(inputs[head])).filter(Boolean), back = whole(inputs.found);
    $("sum").textContent = here && (out.length || back) ? [here[1], ...out].join(" − ") + (back ? " + " + back : "") + " = " + (here[1] - out.reduce((sum, one) => sum + one, 0) + back) + " left" : "";
    $("save").classList.remove("sure");
    sure = "";
  }

  // Far more than usually die: asked again on this phone, with or without a connection; the second tap is the reason.
  function great() {
    const known = facts.batches[batch], here = known && known.places.find((one) => one[0] === place);
    const lost = ["dead", "missing", "wrong"].reduce((sum, head) => sum + whole(inputs[head]), 0);
    return here && lost > Math.max(5, Math.floor(here[1] / 4)) ? lost + " of " + here[1] : "";
  }

  $("form").addEventListener("submit", (event) => {
    event.preventDefault();
    if (!counted() || !place) return;
    const asks = great();
    if (asks && sure !== asks + batch + place) {
      sure = asks + batch + place;
      $("save").textContent = asks + " at once: sure? Tap again";
      $("save").classList.add("sure");
      return;
    }
    $("save").classList.remove("sure");
    const body = { batch, vat: place }, said = [];
    if (asks) body.despite = "counted twice on the phone";
    Object.keys(inputs).forEach((head) => {
      const number = whole(inputs[head]);
      if (number) { body[head] = number; said.push(number + " " + WORDS[head]); }
    });
    if (typed("alive")) { body.alive = Number($("alive").value.trim()); said.push(body.alive + " alive"); }
    const out = ["doa", "dead", "missing", "wrong"].some((head) => body[head]);
    if ($("box").value && (out || typed("in-box"))) { body.box = $("box").value; said.push("box " + body.box); }
    if (body.box && typed("in-box")) { body.in_box = Number($("in-box").value.trim()); said.push(body.in_box + " in it"); }
    const entry = queue("count", said.join(", ") + " · " + batch + " in " + place, body);
    if (!entry) return;
    remember(entry);
    empty();
    ready();
    draw();
  });
  function empty() {
    Object.keys(inputs).forEach((head) => { inputs[head].value = "0"; });
    ["alive", "in-box", "box"].forEach((id) => { $(id).value = ""; });
  }
  // The last count put right: it is undone, and its numbers stand in the form again.
  function correct(one) {
    undo(one);
    location.hash = encodeURIComponent(one.body.batch);
    setTimeout(() => {
      place = one.body.vat;
      places();
      empty();
      Object.keys(inputs).forEach((head) => { inputs[head].value = String(one.body[head] || 0); });
      if (one.body.alive !== undefined) $("alive").value = String(one.body.alive);
      if (one.body.box) $("box").value = one.body.box;
      ready();
      draw();
      $("form").scrollIntoView();
    }, 0);
  }

  $("photo").addEventListener("change", async () => {
    const file = $("photo").files[0];
    $("photo").value = "";
    if (!file) return;
    const picture = await shrunk(file);
    if (picture) queue("photo", "Photo of " + batch, { batch, picture });
    else { trouble = "This phone cannot read that picture."; draw(); }
  });
  async function shrunk(file) {
    try {
      const bitmap = await createImageBitmap(file);
      const scale = Math.min(1, 1600 / Math.max(bitmap.width, bitmap.height));
      const canvas = document.createElement("canvas");
      canvas.width = Math.round(bitmap.width * scale);
      canvas.height = Math.round(bitmap.height * scale);
      canvas.getContext("2d").drawImage(bitmap, 0, 0, canvas.width, canvas.height);
      return canvas.toDataURL("image/jpeg", 0.75);
    } catch (error) { return ""; }
  }

  function route() {
    let wanted = location.hash.slice(1);
    try { wanted = decodeURIComponent(wanted); } catch (error) { /* a mangled code is shown as it is */ }
    if (wanted !== batch) { batch = wanted; place = ""; empty(); }
    $("pick").hidden = Boolean(batch);
    $("entry").hidden = !batch;
    document.title = batch ? "Count " + batch : "Count";
    places();
    draw();
  }

  function places() {
    const known = facts.batches[batch];
    const where = known ? known.places.map((one) => one[0]) : [];
    const box = $("places");
    box.querySelectorAll("label").forEach((label) => label.remove());
    if (where.length && !where.includes(place)) place = where.length === 1 ? where[0] : "";
    if (!where.length && batch && asked) {
      // A batch this phone has not heard of: the vat is typed from its label.
      const input = element("input", { autocomplete: "off", autocapitalize: "characters", "aria-label": "Vat" });
      input.value = place;
      input.addEventListener("input", () => { place = input.value.trim(); ready(); });
      box.append(element("label", {}, ["as on its label", input]));
    }
    where.forEach((name) => {
      const radio = element("input", { type: "radio", name: "place", value: name });
      radio.checked = name === place;
      radio.addEventListener("change", () => { place = name; ready(); draw(); });
      box.append(element("label", {}, [radio, name]));
    });
    const boxes = (known && known.boxes) || [], chosen = $("box").value;
    $("boxes").hidden = boxes.length === 0;
    $("box").replaceChildren(element("option", { value: "" }, ["–"]), ...boxes.map((one) => element("option", {}, [one])));
    $("box").value = boxes.includes(chosen) ? chosen : "";
    const form = $("form"), doa = inputs.doa.closest(".stepper"), dead = inputs.dead.closest(".stepper");
    form.insertBefore(known && known.fresh ? doa : dead, form.firstElementChild);
    ready();
  }

  function element(name, attributes, children) {
    const made = document.createElement(name);
    Object.keys(attributes || {}).forEach((key) => made.setAttribute(key, attributes[key]));
    (children || []).forEach((child) => made.append(child));
    return made;
  }
  function age(ms) {
    const minutes = Math.floor((Date.now() - ms) / 60000);
    if (minutes < 1) return "just now";
    if (minutes < 60) return minutes + " min";
    return minutes < 2880 ? Math.floor(minutes / 60) + " h" : Math.floor(minutes / 1440) + " days";
  }

  function draw() {
    const open = waiting(), bad = refused(), state = $("state");
    $("person").textContent = facts.name || "";
    state.className = "";
    state.textContent = "";
    if (trouble) {
      state.className = "alert";
      state.textContent = "! " + trouble;
      if (!keeps) state.append(element("a", { href: "/count" }, ["count with a plain form"]), ".");
    }
    else if (open.length) {
      state.className = "waiting";
      state.textContent = "↑ " + open.length + " waiting on this phone, oldest: " + age(open[0].made) + ". ";
      if (held === "sign in") { state.className = "alert"; state.append(element("a", { href: "/sign-in" }, ["Sign in to send them."])); }
      else if (held) state.append("(" + held + ")");
    } else if (bad.length) { state.className = "alert"; state.textContent = "! " + bad.length + " not accepted: see below."; }
    else if (sent) { state.className = "saved"; state.textContent = "✓ Saved"; }
    else if (held === "sign in") { state.className = "alert"; state.append(element("a", { href: "/sign-in" }, ["Sign in first."])); }
    list("queue", open, (entry) => [element("span", {}, [(Date.now() - entry.made > DAY ? "! " : "") + entry.words + " (" + age(entry.made) + (Date.now() - entry.made > DAY ? ": older than a day, still not sent" : "") + ")"])]);
    list("refusals", bad, (entry) => {
      const button = element("button", { type: "button" }, ["Dismiss"]);
      button.addEventListener("click", () => { localStorage.removeItem(ENTRY + entry.key); draw(); });
      const words = element("span", {}, [element("b", {}, [entry.words]), element("br"), entry.refused]);
      if (!entry.asks) return [words, button];
      const sure = element("button", { type: "button", class: "sure" }, ["It is so: send it"]);
      sure.addEventListener("click", () => insist(entry));
      return [words, sure, button];
    });
    list("recent", recent(), (one) => {
      const parts = [element("span", {}, [one.words + " · " + clock(one.made) + " · " + one.state])];
      if (one.state === "waiting" || one.state === "sent") {
        const button = element("button", { type: "button", "aria-label": "Undo " + one.words }, ["Undo"]);
        button.addEventListener("click", () => undo(one));
        parts.push(button);
        if (one.body && one.body.batch) {
          const again = element("button", { type: "button", "aria-label": "Correct " + one.words }, ["Correct"]);
          again.addEventListener("click", () => correct(one));
          parts.push(again);
        }
      }
      return parts;
    });
    if (batch) stands(open); else choices();
  }
  function clock(ms) { return new Date(ms).toTimeString().slice(0, 5); }
  function list(id, rows, partsOf) {
    const box = $(id);
    box.hidden = rows.length === 0;
    box.querySelector("ul").replaceChildren(...rows.map((row) => element("li", {}, partsOf(row))));
  }
  function stands(open) {
    const known = facts.batches[batch];
    $("batch").textContent = batch;
    $("name").textContent = known ? known.name : "";
    $("to-batch").href = "/batches/" + encodeURIComponent(batch);
    const here = known && known.places.find((one) => one[0] === place);
    if (!known) { $("stand").textContent = facts.at ? "No live animals of this batch in this phone's last update." : "This phone has not connected to the board yet."; return; }
    if (!here) { $("stand").textContent = "Choose the vat."; return; }
    const gone = open.filter((e) => e.kind === "count" && e.body.batch === batch && e.body.vat === place)
      .reduce((sum, e) => sum + ["dead", "doa", "missing", "wrong"].reduce((n, h) => n + (e.body[h] || 0), 0) - (e.body.found || 0), 0);
    $("stand").textContent = place + ": " + here[1] + " alive on record" + (gone ? ", " + (here[1] - gone) + " after counts waiting to be sent" : "") + ".";
  }
  function choices() {
    const typed = $("search").value.trim().toLowerCase();
    const rows = Object.keys(facts.batches).filter((id) => {
      const one = facts.batches[id];
      return (id + " " + one.name + " " + one.places.map((p) => p[0]).join(" ")).toLowerCase().includes(typed);
    });
    $("choices").replaceChildren(...rows.map((id) => element("li", {}, [
      element("a", { href: "#" + encodeURIComponent(id) }, [element("b", {}, [id]), element("span", {}, [facts.batches[id].name + " · " + facts.batches[id].places.map((p) => p[0]).join(", ")])]),
    ])));
  }
  $("search").addEventListener("input", choices);

  window.addEventListener("hashchange", route);
  window.addEventListener("storage", draw);
  window.addEventListener("online", wake);
  window.addEventListener("pageshow", wake);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) wake(); });
  async function wake() {
    wait = FIRST_WAIT;
    flush();
    await refresh();
    places();
    draw();
  }
  // Leaving with counts that were not sent: the browser asks, for a site's storage is not for ever.
  window.addEventListener("beforeunload", (event) => { if (waiting().length) event.preventDefault(); });
  if (!keeps) trouble = NOTHING_KEPT;
  if ("serviceWorker" in navigator && location.protocol === "https:") {
    navigator.serviceWorker.register("/worker.js").then(() => navigator.serviceWorker.ready).then((one) => {
      const links = Array.from(document.querySelectorAll("link[href], script[src]"), (part) => part.href || part.src);
      one.active.postMessage({ keep: location.origin + "/c", files: links.filter((part) => part.includes("/s/")) });
    }).catch(() => { /* refused by the browser: the page works as over plain http */ });
    if (navigator.storage && navigator.storage.persist) navigator.storage.persist().catch(() => false);
  }
  setInterval(draw, 30000);
  route();
})();
