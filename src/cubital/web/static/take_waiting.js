// On every page but Take: says that taps of a draw are kept on this device and not yet sent, and asks before signing out.
"use strict";
(() => {
  const form = document.querySelector("form.who");
  if (!form || document.getElementById("take")) return;
  let count = 0;
  try {
    count = Number(localStorage.getItem("cubital-take-unsent")) || 0;
  } catch {
    return;
  }
  if (!count) return;
  const words = `${count} kept here, not yet sent`;
  const link = Object.assign(document.createElement("a"), { href: "/take", textContent: `▲ ${words}` });
  form.prepend(link);
  form.addEventListener("submit", (event) => {
    if (!confirm(`${words}. They stay on this device until you sign in again and open Take. Sign out all the same?`)) event.preventDefault();
  });
})();
