// Three things that the pages of the bench cannot do without a script: say that the board is behind when no answer comes,
// take a scan wherever the cursor stands, and keep how wide a kind of tube is, so that it is typed once. Without it the field at the top takes the scans that are typed into it.
"use strict";
(() => {
  const due = document.getElementById("due");
  const behind = document.querySelector(".behind");
  if (due && behind) {
    const LONGEST_MS = 15000;
    let seen = new Date();
    const look = () => {
      const isBehind = new Date() - seen > LONGEST_MS;
      if (isBehind) document.getElementById("since").textContent = seen.toLocaleTimeString();
      behind.hidden = !isBehind;
    };
    due.addEventListener("htmx:after:swap", () => { seen = new Date(); look(); });
    setInterval(look, 1000);
  }

  for (const width of document.querySelectorAll("[data-kept]")) {
    const key = `cubital width ${width.dataset.kept}`;
    if (!width.value) width.value = localStorage.getItem(key) ?? "";
    width.addEventListener("change", () => localStorage.setItem(key, width.value));
  }

  // A scanner types faster than anyone and ends with Enter. What it types into a field that is not for it goes to the
  // scan field instead; a key pressed where nothing takes it goes there too.
  const scan = document.getElementById("scan");
  if (!scan) return;
  const QUICK_MS = 40, PAUSE_MS = 300, LEAST = 4;
  const takesText = (node) => node instanceof HTMLTextAreaElement || node instanceof HTMLSelectElement
    || (node instanceof HTMLInputElement && !["checkbox", "radio", "submit", "button"].includes(node.type));
  // A field of a number holds no letters: there a scan is told by what it is, elsewhere by how fast it comes.
  const isNumber = (node) => ["numeric", "decimal"].includes(node?.getAttribute("inputmode"));
  let run = "", last = 0, field = null, before = "", isQuick = false;
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || event.isComposing) return;
    const at = document.activeElement;
    const gap = event.timeStamp - last;
    last = event.timeStamp;
    isQuick = gap < (isNumber(at) ? PAUSE_MS : QUICK_MS);
    if (event.key.length === 1) {
      if (!isQuick || at !== field) { run = ""; field = at; before = takesText(at) ? at.value : ""; }
      run += event.key;
      if (!takesText(at) && event.key !== " ") { scan.focus(); scan.value = ""; field = scan; }
      return;
    }
    if (event.key !== "Enter") return;
    const isScan = isQuick && run.length >= LEAST && at === field && takesText(at) && (!isNumber(at) || /[^\d.,]/.test(run));
    if (isScan && at !== scan && !at.hasAttribute("data-scan")) {
      event.preventDefault();
      at.value = before;
      scan.value = run;
      scan.form.requestSubmit();
    }
    run = "";
  }, true);
})();
