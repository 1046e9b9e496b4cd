// The plan's picture: a bar dragged to another vat chooses that vat.  The chooser below it does the same without a pointer.
"use strict";
(function () {
  const FAR = 6, EDGE = 60;
  let dragged = false, bar = null, ghost = null, from = null, chosen = "";
  const formOf = (key) => Array.from(document.querySelectorAll("form[data-stay]")).find((one) => one.dataset.stay === key);
  const vatsOf = (form) => Array.from(form.elements.vat.options, (one) => one.value);
  const lanes = () => Array.from(bar.ownerSVGElement.querySelectorAll('[data-key^="vat:"]'));
  const nameOf = (lane) => lane.dataset.key.slice(4);
  function say(words, bad) {
    const box = document.getElementById("drag-says");
    box.hidden = !words;
    box.textContent = words;
    box.className = "note" + (bad ? " bad" : "");
  }

  document.addEventListener("pointerdown", (event) => {
    const found = event.target.closest && event.target.closest("[data-key]");
    if (!found || found.dataset.key.startsWith("vat:") || event.button !== 0) return;
    bar = found;
    dragged = false;
    from = { x: event.clientX, y: event.clientY };
    if (event.pointerType !== "touch") event.preventDefault();  // a finger scrolls the picture; it chooses below
  });
  document.addEventListener("pointermove", (event) => {
    if (!bar || event.pointerType === "touch") return;
    if (!ghost && Math.hypot(event.clientX - from.x, event.clientY - from.y) < FAR) return;
    if (!ghost) lift();
    const svg = bar.ownerSVGElement, scale = svg.viewBox.baseVal.width / svg.getBoundingClientRect().width;
    ghost.setAttribute("transform", "translate(" + (event.clientX - from.x) * scale + " " + (event.clientY - from.y) * scale + ")");
    if (event.clientY > window.innerHeight - EDGE) { window.scrollBy(0, 12); from.y -= 12; }
    else if (event.clientY < EDGE) { window.scrollBy(0, -12); from.y += 12; }
    over(lanes().find((lane) => { const box = lane.getBoundingClientRect(); return event.clientY >= box.top && event.clientY < box.bottom; }));
  });
  document.addEventListener("pointerup", () => {
    if (!bar) return;
    const form = formOf(bar.dataset.key), vat = chosen;
    dragged = Boolean(ghost);
    drop();
    if (!form || !vat) return;
    form.elements.vat.value = vat;
    form.requestSubmit();
  });
  // After a tap the browser moves the focus to what was tapped; only then can the chooser have it.
  document.addEventListener("click", (event) => {
    const found = event.target.closest && event.target.closest("[data-key]");
    if (!found || dragged || found.dataset.key.startsWith("vat:")) return;
    const form = formOf(found.dataset.key);
    if (form) show(form); else say("The rules allow only this vat.", false);
  });
  document.addEventListener("pointercancel", () => { if (bar) { drop(); say("", false); } });
  document.addEventListener("keydown", (event) => { if (event.key === "Escape" && bar) { drop(); say("", false); } });

  function lift() {
    const form = formOf(bar.dataset.key), allowed = form ? vatsOf(form) : [];
    ghost = bar.cloneNode(false);
    ghost.removeAttribute("data-key");
    ghost.setAttribute("class", "held");
    bar.ownerSVGElement.append(ghost);
    lanes().forEach((lane) => lane.setAttribute("class", allowed.includes(nameOf(lane)) ? "may" : "may-not"));
  }
  // The rules answer as the bar is held over a vat: which may take it was worked out with the page.
  function over(lane) {
    const form = formOf(bar.dataset.key), [batch, stage] = bar.dataset.key.split("@"), vat = lane ? nameOf(lane) : "";
    chosen = form && vatsOf(form).includes(vat) ? vat : "";
    if (!form) say(batch + ": only one vat suits it in " + stage + ".", true);
    else if (!vat) say("Hold " + batch + " over a vat.", false);
    else if (chosen) say("Let go: plan again with " + batch + " only in " + vat + " for " + stage + ".", false);
    else say(batch + " cannot be in " + vat + " in " + stage + ": " + (JSON.parse(form.dataset.refused)[vat] || "the rules do not allow it") + ".", true);
  }
  function drop() {
    if (ghost) { lanes().forEach((lane) => lane.removeAttribute("class")); ghost.remove(); }
    bar = ghost = from = null;
    chosen = "";
  }
  function show(form) {
    const details = form.closest("details");
    if (details) details.open = true;
    form.elements.vat.focus();
    form.scrollIntoView({ block: "center" });
  }
})();
