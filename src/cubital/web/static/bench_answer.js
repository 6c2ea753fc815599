// An answer on the bench is of one instant, and of what was asked then. It is marked in words once something newer was
// asked and not answered, or while the server does not answer at all; and what cannot be sent is kept, not lost in a
// page of the browser's own. A scan without an answer takes the tube before it out of sight. Without this script every
// form is sent as it is, and each answer says of when it is.
"use strict";
(() => {
  const shown = document.getElementById("shown");
  const strip = document.querySelector(".unsent");
  if (!shown || !strip) return;
  const scan = document.getElementById("scan");
  const PULSE_MS = 5000, LONGEST_MS = 4000, TYPED_MS = 1000, COVER_MS = 300, LOST_MS = 15000;
  let isGone = false;
  // Forms in which something stands that the answer on the screen is not of.
  const changed = new Set();

  const say = () => {
    for (const one of shown.querySelectorAll("[data-as-of]")) {
      const why = isGone ? "not of now: no answer from the server since"
        : changed.has(one.dataset.ofForm) ? "not of what is in the form now" : "";
      const words = `As of ${one.dataset.asOf}${why && ", "}${why}`;
      if (one.dataset.said === words) continue;
      one.dataset.said = words;
      one.classList.toggle("old", Boolean(why));
      one.replaceChildren(words);
    }
  };

  const pulse = async () => {
    try {
      const answer = await fetch("/bench/pulse", { cache: "no-store", redirect: "manual", signal: AbortSignal.timeout(LONGEST_MS) });
      // Sent away to the door: the server is there, and says itself what it refuses.
      return answer.status === 204 || answer.type === "opaqueredirect";
    } catch {
      return false;
    }
  };
  const form = document.getElementById("receive");
  const look = async () => {
    const was = isGone;
    isGone = !(await pulse());
    say();
    if (was && !isGone && form && changed.has("receive")) form.dispatchEvent(new Event("change"));
    return !isGone;
  };
  setInterval(look, PULSE_MS);
  addEventListener("offline", () => { isGone = true; say(); });
  addEventListener("online", look);

  // What is typed: the form of a tube is answered as one types, so it is given a moment; the others when they are sent.
  let timer = 0, typed = 0, sent = 0;
  shown.addEventListener("input", (event) => {
    const id = event.target.form?.id;
    if (!id) return;
    if (id !== "receive") { changed.add(id); say(); return; }
    typed += 1;
    if (!timer) timer = setTimeout(() => { changed.add(id); say(); }, TYPED_MS);
  });
  const isVerdict = (event) => (event.detail?.ctx?.target ?? event.target)?.id === "verdict";
  document.addEventListener("htmx:before:request", (event) => { if (isVerdict(event)) sent = typed; });
  document.addEventListener("htmx:after:swap", (event) => {
    if (!isVerdict(event)) return;
    const verdict = document.getElementById("verdict");
    // A refusal that is no verdict brings no count of its own.
    if (!verdict.querySelector("[data-as-of]")) document.getElementById("tally")?.replaceChildren();
    if (sent === typed) { clearTimeout(timer); timer = 0; changed.delete("receive"); }
    say();
  });

  const tell = (bold, words, canGoBack) => {
    strip.querySelector("b").textContent = bold;
    strip.querySelector("span").textContent = words;
    strip.querySelector("button").hidden = !canGoBack;
    strip.hidden = false;
  };
  strip.querySelector("button").addEventListener("click", () => { strip.hidden = true; shown.hidden = false; say(); });

  // A form is sent only to a server that is seen to be there; the second of two quick Enters is not sent at all.
  let passing = null, isSending = false, cover = 0, lost = 0;
  const settle = () => { isSending = false; clearTimeout(cover); clearTimeout(lost); };
  document.addEventListener("submit", async (event) => {
    const sending = event.target;
    if (sending.method !== "post" || !sending.closest(".bench")) return;
    if (passing === sending) { passing = null; return; }
    event.preventDefault();
    if (isSending) return;
    isSending = true;
    const isScan = sending.classList.contains("scan");
    if (isScan) cover = setTimeout(() => {
      shown.hidden = true;
      tell("The last scan has no answer yet.", "Nothing is known of that tube here yet.", true);
    }, COVER_MS);
    const { submitter } = event;
    if (await look()) {
      // Should the answer never come, what is here can be sent again.
      lost = setTimeout(settle, LOST_MS);
      passing = sending;
      sending.requestSubmit(submitter);
      return;
    }
    settle();
    if (isScan) {
      shown.hidden = true;
      tell("The last scan has no answer: the server does not answer.", "Nothing is known of that tube here, and nothing was recorded. Scan it again.", true);
      scan.value = "";
      scan.focus();
    } else {
      tell("Not sent: the server does not answer.", "Nothing was recorded. What is in the form is kept: send it again.", false);
    }
  });
  addEventListener("pageshow", (event) => { if (event.persisted) { settle(); look(); } });
})();
