// Small helps for the board's pages; every page works without them.
"use strict";
(function () {
  const menu = document.querySelector("details.menu");
  if (menu && !CSS.supports("selector(::details-content)")) {
    const wide = matchMedia("(min-width: 62rem)");
    const fit = () => { menu.open = wide.matches; };
    wide.addEventListener("change", fit);
    fit();
  }

  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (form.dataset.confirm && !window.confirm(form.dataset.confirm)) {
      event.preventDefault();
      return;
    }
    // A second tap must not send a second form; the server would know it by its key, this spares the wait.
    setTimeout(() => form.querySelectorAll("button").forEach((button) => { button.disabled = true; }), 0);
  });
  // Back from the browser's memory the buttons must work again.
  window.addEventListener("pageshow", () => document.querySelectorAll("button:disabled").forEach((b) => { b.disabled = false; }));

  // What the rules say of a form as it is filled in, beside the field that was filled last; saving asks them again.
  document.querySelectorAll("form[data-ask]").forEach((form) => {
    let timer = 0, turn = 0;
    form.addEventListener("change", (event) => { clearTimeout(timer); timer = setTimeout(() => ask(event.target), 250); });
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
  });

  const address = document.getElementById("address");
  if (address) address.addEventListener("focus", () => address.select());

  // Pages that stay open on a wall follow what is recorded, unless somebody is filling in a form.
  if (!("live" in document.body.dataset)) return;
  let first = "", touched = false;
  document.addEventListener("input", () => { touched = true; });
  async function beat() {
    if (document.hidden || touched) return;
    try {
      const answer = await fetch("/api/beat", { cache: "no-store" });
      if (!answer.ok) return;
      const now = (await answer.json()).beat;
      if (first && now !== first) location.reload();
      first = now;
    } catch (error) { /* no connection: the page stays as it is */ }
  }
  beat();
  setInterval(beat, 20000);
})();
