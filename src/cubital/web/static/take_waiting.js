// On every page but Take: says that taps of a draw are kept on this device and not yet sent, asks before signing out, and
// takes identifiers off the device that nobody here may still need.
"use strict";
(() => {
  const count = () => {
    try {
      return Number(localStorage.getItem("cubital-take-unsent")) || 0;
    } catch {
      return 0;
    }
  };
  if (!count()) return;
  const form = document.querySelector("form.who");
  const account = form?.querySelector("a").textContent;
  void cubitalForget.forget((item) => cubitalForget.isOld(item) || (account !== undefined && item.account !== account));
  const words = `▲ ${cubitalForget.waitingWords(count())}`;
  if (!form) return document.getElementById("main").prepend(Object.assign(document.createElement("p"), { className: "hint", textContent: `${words}. Whoever made them signs in and opens Take.` }));
  form.prepend(Object.assign(document.createElement("a"), { href: "/take", textContent: words }));
  cubitalForget.signOut(form, count);
})();
