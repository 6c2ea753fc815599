// An answer that is not of what is typed now must not look as if it were: marked from the first keystroke that is not
// answered within a second, until an answer is there. Without this script the form is sent by its button.
"use strict";
(() => {
  const form = document.getElementById("ask");
  const main = document.getElementById("main");
  const answer = document.getElementById("answer");
  const WAIT_MS = 1000;
  let timer = 0;
  // How many changes there were, and how many the last request knew of: an answer to fewer is not one to all.
  let typed = 0;
  let sent = 0;
  const isAnswer = (event) => (event.detail?.ctx?.target ?? event.target)?.id === "answer";
  const begin = () => {
    if (!timer) timer = setTimeout(() => main.setAttribute("data-stale", ""), WAIT_MS);
  };
  form.addEventListener("input", () => { typed += 1; begin(); });
  form.addEventListener("submit", begin);
  document.addEventListener("htmx:before:request", (event) => { if (isAnswer(event)) sent = typed; });
  document.addEventListener("htmx:after:swap", (event) => {
    if (!isAnswer(event) || sent !== typed) return;
    clearTimeout(timer);
    timer = 0;
    main.removeAttribute("data-stale");
  });

  // On a phone the bar that leads to the answer goes where the answer is already on screen.
  new IntersectionObserver(([seen]) => main.toggleAttribute("data-at-answer", seen.isIntersecting), {
    rootMargin: "0px 0px -25% 0px",
  }).observe(answer);
})();
