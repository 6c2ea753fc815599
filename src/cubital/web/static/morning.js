// The slider of the invented morning shows the minute that the board is of, whoever moved it there.
"use strict";
(() => {
  document.addEventListener("htmx:after:swap", () => {
    const range = document.getElementById("min");
    if (document.activeElement !== range) range.value = range.getAttribute("value");
  });
})();
