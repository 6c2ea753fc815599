// The forms of the Site page: a field with a finding that stops is marked invalid, the last row of a list grows another
// below it once something is typed there, a tube kind is put into a row by a press, and a test into a panel by choosing
// it. Without this script every form
// still works: an empty row is there, and a sent form comes back with the next.
"use strict";
(() => {
  const form = document.getElementById("edit");
  if (!form) return;
  const MOST_ROWS = 12;

  const markInvalid = () => {
    for (const field of form.querySelectorAll("[aria-describedby^='lint-']")) {
      const said = document.getElementById(field.getAttribute("aria-describedby"));
      if (said && said.querySelector(".finding.error")) field.setAttribute("aria-invalid", "true");
      else field.removeAttribute("aria-invalid");
    }
  };
  document.addEventListener("htmx:after:swap", markInvalid);

  const renumber = (text, row) => text.replace(/([.-])\d+([.-])/, `$1${row}$2`);
  const grow = (spare) => {
    const found = /^\w+\.(\d+)\./.exec(spare.querySelector("[name]").name);
    const row = Number(found[1]) + 1;
    spare.removeAttribute("data-spare");
    spare.classList.remove("spare");
    if (row >= MOST_ROWS) return;
    const fresh = spare.cloneNode(true);
    for (const one of fresh.querySelectorAll("*")) {
      for (const name of ["name", "id", "aria-describedby"]) {
        if (one.hasAttribute(name)) one.setAttribute(name, renumber(one.getAttribute(name), row));
      }
      one.removeAttribute("aria-invalid");
      if (one.matches("input")) one.value = "";
      if (one.matches(".lint")) one.replaceChildren();
    }
    fresh.setAttribute("data-spare", "");
    fresh.classList.add("spare");
    spare.after(fresh);
  };

  let last = null;
  form.addEventListener("focusin", (event) => {
    if (event.target.name && /(^|\.)(tubes|tests)$/.test(event.target.name)) last = event.target;
  });
  form.addEventListener("input", (event) => {
    const spare = event.target.closest("[data-spare]");
    if (spare && event.target.matches("input")) grow(spare);
  });
  form.addEventListener("click", (event) => {
    const button = event.target.closest("[data-kind]");
    if (!button) return;
    const box = last ?? form.querySelector("[name='accepts.0.tubes']");
    const kinds = box.value.split(",").map((one) => one.trim()).filter(Boolean);
    if (!kinds.includes(button.dataset.kind)) kinds.push(button.dataset.kind);
    box.value = kinds.join(", ");
    box.dispatchEvent(new Event("input", { bubbles: true }));
  });

  const adder = form.querySelector("[data-adder]");
  if (adder) {
    const asked = adder.querySelector("input");
    const known = new Map();
    for (const one of document.getElementById(asked.getAttribute("list")).options) {
      for (const name of [one.value, ...one.textContent.split(", ")]) {
        // A name of two tests is neither: only its key will do.
        const folded = name.trim().toLowerCase();
        known.set(folded, known.has(folded) && known.get(folded) !== one.value ? "" : one.value);
      }
    }
    const add = () => {
      const key = known.get(asked.value.trim().toLowerCase());
      if (!key) return false;
      const box = last ?? form.querySelector("[name='tests']");
      const tests = box.value.split(/[\n,]/).map((one) => one.trim()).filter(Boolean);
      if (!tests.includes(key)) tests.push(key);
      box.value = tests.join(box.matches("textarea") ? "\n" : ", ");
      if (box.matches("textarea")) box.rows = Math.max(4, tests.length + 1);
      asked.value = "";
      box.dispatchEvent(new Event("input", { bubbles: true }));
      return true;
    };
    adder.hidden = false;
    asked.addEventListener("change", add);
    asked.addEventListener("keydown", (event) => {
      if (event.key !== "Enter") return;
      // Enter adds the test; it does not send the form.
      event.preventDefault();
      add();
    });
  }
})();
