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
