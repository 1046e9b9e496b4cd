// Small helps for the board's pages; every page works without them.
"use strict";
(function () {
  const lost = document.getElementById("lost");
  let touched = false;
  document.addEventListener("input", () => { touched = true; });

  // A form is sent beside the page: a refusal stands in the form and what was typed stays; files go the plain way.
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (form.dataset.confirm && !window.confirm(form.dataset.confirm)) { event.preventDefault(); return; }
    if (form.method === "post" && !("whole" in form.dataset)) {
      event.preventDefault();
      send(form, event.submitter);
      return;
    }
    // A second tap must not send a second form; the server would know it by its key, this spares the wait.
    setTimeout(() => form.querySelectorAll("button").forEach((button) => { button.disabled = true; }), 0);
  });
  async function send(form, pressed) {
    const buttons = form.querySelectorAll("button"), body = new URLSearchParams(new FormData(form));
    if (pressed && pressed.name) body.append(pressed.name, pressed.value);
    buttons.forEach((button) => { button.disabled = true; });
    form.querySelectorAll(".breach").forEach((old) => old.remove());
    let told = null, answer = null;
    touched = true;  // what is said of this act is for the page that follows it, not for a renewal on the way there
    try {
      answer = await fetch(form.action, { method: "POST", headers: { "x-vatside-inline": "1" }, body, credentials: "same-origin" });
      told = await answer.json();
    } catch (error) { /* no connection, or a page */ }
    if (answer && answer.ok && told && told.next) { await shown(told.next); return; }
    buttons.forEach((button) => { button.disabled = false; });
    const words = told && told.said && told.said.length ? told.said : [answer ? "This was not saved." : "No connection. Nothing was saved; what you typed is still here."];
    words.forEach((text) => {
      const line = document.createElement("p");
      line.className = "note bad breach";
      line.setAttribute("role", "alert");
      line.textContent = "! " + text;
      form.append(line);
    });
    const rules = (told && told.rules) || [];
    if (rules.length && rules.every((rule) => rule.severity === "reason") && !form.querySelector("[name=despite]")) {
      const label = document.createElement("label"), input = document.createElement("input");
      label.className = "despite";
      label.textContent = "Reason, three words or more ";
      input.name = "despite";
      label.append(input);
      form.append(label);
    }
    const reason = rules.length ? form.querySelector("[name=despite]") : null;
    if (reason) reason.focus();
  }

  // The page after an act: the same page is put in place without a jump, another one is opened.
  async function shown(next) {
    const there = new URL(next, location.href), here = location;
    if (there.pathname + there.search !== here.pathname + here.search) { here.assign(next); if (there.hash) here.reload(); return; }
    touched = false;
    if (!await swapped(false)) here.reload();
  }
  // A renewal keeps what was said of the last act: the act itself makes the page renew.
  async function swapped(renewal) {
    try {
      const answer = await fetch(location.href, { credentials: "same-origin", cache: "no-store" });
      if (!answer.ok || answer.redirected) return false;
      const whole = new DOMParser().parseFromString(await answer.text(), "text/html");
      if (whole.querySelector("meta[http-equiv=refresh]")) return false;  // something is being calculated: loaded as a whole
      const fresh = whole.getElementById("main");
      const main = document.getElementById("main");
      if (!fresh || !main) return false;
      const open = Array.from(main.querySelectorAll("details[open] > summary"), (one) => one.textContent);
      const said = renewal ? Array.from(main.querySelectorAll(":scope > .note.good[role=status]")) : [];
      main.replaceChildren(...said, ...fresh.childNodes);
      main.querySelectorAll("details > summary").forEach((one) => { if (open.includes(one.textContent)) one.parentElement.open = true; });
      prepare(main);
      return true;
    } catch (error) { return false; }
  }

  // Back from the browser's memory the buttons must work again.
  window.addEventListener("pageshow", () => document.querySelectorAll("button:disabled").forEach((b) => { b.disabled = false; }));

  // Counts that wait on this phone are told on every page, with their age; a day is long.
  function unsent() {
    const box = document.getElementById("unsent"), made = [];
    try {
      for (let i = 0; i < localStorage.length; i += 1) {
        const key = localStorage.key(i), entry = key.startsWith("vatside:entry:") ? JSON.parse(localStorage.getItem(key)) : null;
        if (entry && !entry.refused) made.push(entry.made);
      }
    } catch (error) { return; }
    if (!box) return;
    box.hidden = made.length === 0;
    if (!made.length) return;
    const hours = Math.floor((Date.now() - Math.min(...made)) / 3600000), old = hours >= 24;
    const age = hours < 1 ? "less than 1 h" : hours < 48 ? hours + " h" : Math.floor(hours / 24) + " days";
    box.className = "note" + (old ? " bad" : "");
    box.textContent = (old ? "! " : "↑ ") + made.length + " waiting on this phone, oldest: " + age + (old ? ". Older than a day and not sent. " : ". ");
    const link = document.createElement("a");
    link.href = "/c";
    link.textContent = "Open the count page to send them.";
    box.append(link);
  }
  window.addEventListener("storage", unsent);
  setInterval(unsent, 30000);

  // Over https a page kept on the phone is shown while the board cannot be reached.
  if ("serviceWorker" in navigator && location.protocol === "https:") {
    navigator.serviceWorker.register("/worker.js").then(() => navigator.serviceWorker.ready).then((one) => {
      if (location.pathname !== "/work") return;
      const links = Array.from(document.querySelectorAll("link[href], script[src]"), (part) => part.href || part.src);
      one.active.postMessage({ keep: location.href.split("#")[0], files: links.filter((part) => part.includes("/s/")) });
    }).catch(() => { /* refused by the browser: pages work as over plain http */ });
  }

  // What the rules say of a form as it is filled in, beside the field that was filled last; saving asks them again.
  function prepare(root) {
    root.querySelectorAll("form[data-ask]").forEach(listen);
    root.querySelectorAll("[data-scan]").forEach(scan);
    unsent();
    fit();
    const address = root.querySelector("#address");
    if (address) address.addEventListener("focus", () => address.select());
  }
  function listen(form) {
    let timer = 0, turn = 0;
    form.addEventListener("change", (event) => { clearTimeout(timer); timer = setTimeout(() => ask(event.target), 250); });
    form.addEventListener("submit", () => { clearTimeout(timer); turn += 1; });  // saving asks, and what it says stays
    async function ask(field) {
      const mine = turn += 1;
      let rules = [];
      try {
        const headers = { "x-vatside-ask": "1", accept: "application/json" };
        const body = new URLSearchParams(new FormData(form));
        const answer = await fetch(form.action, { method: "POST", headers, body, credentials: "same-origin" });
        if (answer.ok) rules = (await answer.json()).rules;
      } catch (error) { return; /* no connection: saving will ask */ }
      if (mine !== turn) return;
      form.querySelectorAll(".breach").forEach((old) => old.remove());
      const beside = (field.closest && field.closest("label")) || form.lastElementChild;
      rules.forEach((rule) => {
        const line = document.createElement("p");
        line.className = "note breach" + (rule.severity === "warn" ? "" : " bad");
        line.setAttribute("role", "status");
        const head = { refuse: "Cannot be saved: ", reason: "Needs a reason: ", warn: "Mind: " }[rule.severity];
        line.textContent = "! " + head + rule.what + " Needed: " + rule.need + ". There: " + rule.have + ". " + rule.do;
        beside.after(line);
      });
    }
  }

  // A label's code read by the page itself, where the browser can; elsewhere the phone's own camera opens the code.
  function scan(input) {
    if (!("BarcodeDetector" in window)) return;
    input.closest("label").hidden = false;
    input.addEventListener("change", async () => {
      const picture = input.files[0] && await createImageBitmap(input.files[0]).catch(() => null);
      const found = picture ? await new BarcodeDetector({ formats: ["qr_code"] }).detect(picture).catch(() => []) : [];
      const text = found.length ? found[0].rawValue : "";
      if (text) location.assign("/search?q=" + encodeURIComponent(text.includes("#") ? text.split("#").pop() : text.split("/").pop()));
    });
  }
  // A wall with more vats than fit shows them in pages that change; what is shown is always whole.
  let pageShown = 0;
  function fit() {
    const box = document.querySelector(".wall-tiles");
    if (!box) return;
    const tiles = Array.from(box.querySelectorAll(".tile")), pages = [[]];
    const show = (some) => {
      tiles.forEach((one) => { one.hidden = !some.includes(one); });
      box.querySelectorAll(".wall-system").forEach((one) => { one.hidden = !one.querySelector(".tile:not([hidden])"); });
    };
    show(tiles);
    if (box.scrollHeight <= box.clientHeight) { document.getElementById("wall-page").textContent = ""; return; }
    show([]);
    tiles.forEach((tile) => {
      const system = tile.closest(".wall-system"), was = system.hidden, page = pages[pages.length - 1];
      tile.hidden = system.hidden = false;
      if (box.scrollHeight <= box.clientHeight || !page.length) { page.push(tile); return; }
      system.hidden = was;
      pages.push([tile]);
      show([tile]);
    });
    const at = pageShown % pages.length;
    show(pages[at]);
    document.getElementById("wall-page").textContent = "Page " + (at + 1) + " of " + pages.length;
  }
  if (document.body.dataset.live === "wall") {
    setInterval(() => { pageShown += 1; fit(); }, 8000);
    window.addEventListener("resize", fit);
    document.fonts.ready.then(fit);
  }
  prepare(document);

  // Pages that stay open follow what is recorded: told by the server as it happens, else by asking for the beat.
  const clock = () => document.querySelectorAll("[data-clock]").forEach((one) => {
    const how = { hour: "2-digit", minute: "2-digit", hour12: false, timeZone: one.dataset.clock };
    one.textContent = new Intl.DateTimeFormat("en-GB", how).format(new Date());
  });
  if (document.querySelector("[data-clock]")) setInterval(clock, 5000);
  if (!("live" in document.body.dataset)) return;
  const wall = document.body.dataset.live === "wall";
  const kept = Number(document.body.dataset.kept || 0);  // set by the worker on a page it kept
  let first = kept ? "kept" : "", heard = kept || Date.now(), waiting = false;
  if (kept) gone(true);
  function told(word) {
    heard = Date.now();
    gone(false);
    if (first && word !== first) renew();
    first = word;
  }
  async function renew() {
    if (document.hidden || touched || waiting) return;
    waiting = true;
    if (!await swapped(true) && wall) gone(true);
    waiting = false;
    clock();
  }
  function gone(is) {
    const box = document.getElementById("lost") || lost;
    if (!box) return;
    const minutes = Math.max(0, Math.round((Date.now() - heard) / 60000));
    box.hidden = !is;
    box.textContent = is ? "! No connection to the board. Shown as of " + new Date(heard).toTimeString().slice(0, 5) + (minutes ? ", " + (minutes < 120 ? minutes + " min" : Math.floor(minutes / 60) + " h") + " ago." : ".") : "";
  }
  async function beat() {
    if (document.hidden && !wall) return;
    try {
      const answer = await fetch("/api/beat", { cache: "no-store" });
      if (answer.ok) told((await answer.json()).beat);
    } catch (error) { gone(Date.now() - heard > 8000); }
  }
  let stream = null;
  if (window.EventSource) {
    stream = new EventSource("/api/live");
    stream.onmessage = (event) => told(event.data);
  }
  // The stream can die without a word: the beat is asked for where it is silent, often on a wall.
  setInterval(() => { if (!stream || stream.readyState !== 1 || Date.now() - heard > 20000) beat(); }, wall ? 4000 : 15000);
  if (wall) setInterval(renew, 60000);
  window.addEventListener("pageshow", (event) => { if (event.persisted) renew(); });
})();
