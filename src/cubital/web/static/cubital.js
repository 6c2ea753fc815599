"use strict";
// A draw that is not of what is typed now must not look as if it were: marked from the first keystroke that is not
// answered within a second, until an answer is there. Without this script the form is sent by its button.
(() => {
  const form = document.getElementById("ask");
  const main = document.getElementById("main");
  if (!form || !main) return;
  const WAIT_MS = 1000;
  let timer = 0;
  // How many changes there were, and how many the last request knew of: an answer to fewer is not one to all.
  let typed = 0;
  let sent = 0;
  const isAnswer = (event) => (event.detail?.ctx?.target ?? event.target)?.id === "answer";
  const begin = () => {
    if (!timer) timer = setTimeout(() => main.setAttribute("data-stale", ""), WAIT_MS);
  };
  const end = () => {
    clearTimeout(timer);
    timer = 0;
    main.removeAttribute("data-stale");
  };
  form.addEventListener("input", () => { typed += 1; begin(); });
  form.addEventListener("submit", begin);
  document.addEventListener("htmx:before:request", (event) => { if (isAnswer(event)) sent = typed; });
  document.addEventListener("htmx:after:swap", (event) => {
    if (isAnswer(event) && sent === typed) end();
  });

  // The last row of events is free: one that is begun makes room for the next.
  form.addEventListener("input", (event) => {
    const rows = form.querySelectorAll(".free");
    const last = rows[rows.length - 1];
    if (!last || !last.contains(event.target) || ![...last.elements].some((field) => field.name !== "event_day" && field.value)) return;
    const next = last.cloneNode(true);
    for (const field of next.elements) {
      if (field.matches("select")) field.selectedIndex = 0;
      else field.value = "";
    }
    last.after(next);
  });

  // On a phone the bar that leads to the answer goes where the answer is already on screen.
  const answer = document.getElementById("answer");
  new IntersectionObserver(([seen]) => main.toggleAttribute("data-at-answer", seen.isIntersecting), {
    rootMargin: "0px 0px -25% 0px",
  }).observe(answer);

  // A scan while no field has the keys, after a tap beside them, still goes into the list of tests. A scanner is told
  // from a hand by its speed: letters at most this far apart, ended with Enter.
  const GAP_MS = 60;
  const LEAST_LETTERS = 3;
  let scanned = "";
  let last = 0;
  document.addEventListener("keydown", (event) => {
    const at = document.activeElement;
    if (event.ctrlKey || event.metaKey || event.altKey || at?.matches("textarea, select, input:not([type=radio], [type=checkbox])")) {
      scanned = "";
      return;
    }
    const isFast = event.timeStamp - last <= GAP_MS;
    last = event.timeStamp;
    if (event.key === "Enter" && isFast && scanned.length >= LEAST_LETTERS) {
      event.preventDefault();
      const box = document.getElementById("tests");
      box.value += (box.value && !box.value.endsWith("\n") ? "\n" : "") + scanned + "\n";
      scanned = "";
      box.focus();
      box.dispatchEvent(new Event("input", { bubbles: true }));
    } else if (event.key.length === 1) {
      scanned = isFast ? scanned + event.key : event.key;
      if (isFast && event.key === " ") event.preventDefault();
    } else if (event.key !== "Shift") {
      scanned = "";
    }
  });
})();
