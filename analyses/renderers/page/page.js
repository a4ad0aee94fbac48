(() => {
  const data = JSON.parse(document.getElementById("cases-data").textContent);
  const dialog = document.getElementById("cases");
  const set = (id, text) => { document.getElementById(id).textContent = text; };
  const expand = (runs) => runs.flatMap(([first, last]) =>
    Array.from({ length: last - first + 1 }, (_, step) => data.keys[first + step]));
  const list = (id, codes) => document.getElementById(id).replaceChildren(
    ...codes.map((code) => { const item = document.createElement("li"); item.textContent = code; return item; }));
  document.addEventListener("click", (event) => {
    const button = event.target.closest("button.n");
    if (!button) return;
    const entry = data.estimates[Number(button.dataset.cases)];
    const events = expand(entry.events), others = expand(entry.others);
    set("cases-title", entry.title);
    set("cases-definition", entry.definition);
    set("cases-events-title", `Counted as an event: ${events.length}`);
    set("cases-others-title", `Counted without an event: ${others.length}`);
    list("cases-events", events);
    list("cases-others", others);
    dialog.showModal();
  });
  // Paper shows what a fold hides.
  window.addEventListener("beforeprint", () => document.querySelectorAll("main details").forEach((fold) => { fold.open = true; }));
  document.getElementById("cases-close").addEventListener("click", () => dialog.close());
})();
