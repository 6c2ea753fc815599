// What the Take page shows: each function draws one screen or part into the page and calls back what was done on it.
"use strict";
const cubitalScreens = (() => {
  const at = (id) => document.getElementById(id);
  const fresh = (id) => at(id).content.firstElementChild.cloneNode(true);
  const text = (root, selector, words) => {
    const found = root.querySelector(selector);
    found.textContent = words;
    found.hidden = !words;
    return found;
  };
  const item = (words, kind = "li") => Object.assign(document.createElement(kind), { textContent: words });
  // The second click of a double click is none: another button may have come under it.
  const on = (root, selector, done) =>
    root.querySelectorAll(selector).forEach((one) => one.addEventListener("click", (event) => event.detail > 1 || done(one)));

  const put = (root) => {
    at("stage").replaceChildren(root);
    root.querySelector("h2")?.focus({ preventScroll: true });
    scrollTo(0, 0);
    return root;
  };

  const list = (draws, open) => {
    const root = put(fresh("t-list"));
    const none = draws ? "None is waiting. Plan one on the Draw page and press “Take this draw”." : "The list needs the connection.";
    text(root, ".none", draws?.length ? "" : none);
    for (const draw of draws || []) {
      const button = item("", "button");
      button.append(item(draw.code, "b"), item(draw.headline, "span"), item(`${draw.made}; ${draw.done}`, "small"));
      if (draw.moved_on) button.append(item(`▲ Watch ${draw.moved_on}`, "small"));
      button.addEventListener("click", () => open(draw.code));
      const row = item("");
      row.append(button);
      root.querySelector(".waiting").append(row);
    }
  };

  // The fields of a form one by one, as a scanner fills them that ends with Enter; `done` with what was said once all can
  // be read.
  const fields = (root, done) => {
    const inputs = [...root.querySelectorAll("input")];
    const missing = root.querySelector(".missing");
    const say = (words) => text(root, ".missing", words);
    root.addEventListener("submit", (event) => {
      event.preventDefault();
      missing.hidden = true;
      // The next empty field is meant, not yet the check.
      const empty = inputs.find((field) => !field.value.trim());
      if (empty) return empty.focus();
      const said = Object.fromEntries(inputs.map((field) => [field.name, field.value]));
      const field = cubitalIdentity.unreadable(said);
      if (!field) return done(said);
      say(field === "born" ? "Write the birth date year first, such as 1958-03-02." : `Write the ${field}.`);
      root.elements[field].focus();
    });
    return { say };
  };

  const again = (code, acts) => {
    const root = put(fresh("t-again"));
    text(root, ".headline", `Draw ${code}`);
    on(root, ".back", acts.back);
    return fields(root, acts.said);
  };

  const who = (view, draw, acts) => {
    const root = put(fresh("t-who"));
    text(root, ".headline", view.headline);
    const series = [draw.title, draw.after].filter(Boolean).join(", ");
    text(root, ".series", draw.number > 1 ? `${series}. Check the patient again.` : series);
    root.querySelector(".before").append(...(draw.before || []).map(({ flag, text: words }) => {
      const one = item("");
      one.className = flag.replace(" ", "-");
      one.append(item(flag, "b"), item(words, "span"));
      return one;
    }));
    const words = [...view.warnings, ...view.left_out.map((one) => `LEFT OUT: ${one}`)];
    root.querySelector(".warnings").append(...words.map((one) => item(one)));
    fields(root, acts.check);
    on(root, ".set-aside", acts.aside);
    on(root, ".to-list", acts.leave);
    return {
      again: () => {
        for (const name of ["stated_name", "stated_second"]) root.elements[name].value = "";
        root.elements.stated_name.focus();
      },
    };
  };

  // The form that asks for the labels of these tubes, on the stock that was chosen last.
  const fillPrint = (print, stepsNow, acts, then) => {
    const stock = print.elements.stock;
    stock.value = acts.stock() || stock.value;
    stock.addEventListener("change", () => acts.stock(stock.value));
    print.addEventListener("submit", () => {
      stock.value = acts.stock() || stock.value;
      const numbers = stepsNow().map((step) => Object.assign(item("", "input"), { type: "hidden", name: "step", value: String(step.number) }));
      print.querySelector(".of").replaceChildren(...numbers);
      acts.asked(print);
      then();
    });
  };

  // Printing and scanning the label of one tube; `refresh` goes with what is known of the connection and the server.
  const label = (view, step, acts) => {
    const root = fresh("t-label");
    const print = root.querySelector(".print");
    const scan = root.querySelector(".scan");
    fillPrint(print, () => [step], acts, () => scan.elements.scanned.focus());
    scan.addEventListener("submit", (event) => {
      event.preventDefault();
      const code = scan.elements.scanned.value.trim().toUpperCase();
      scan.elements.scanned.value = "";
      if (code) acts.scanned(code);
    });
    const refresh = ({ isSent, isLabelled, isAway }) => {
      print.hidden = isLabelled || !isSent || isAway;
      scan.hidden = isLabelled;
      const waits = isAway ? "the connection" : "the server's answer";
      text(root, ".label-said", isLabelled ? `✓ Label ${step.specimen} is on this tube.` : isSent && !isAway ? "" : `The label waits for ${waits}. The time of filling is kept.`);
    };
    return { root, refresh };
  };

  const tube = (view, step, acts) => {
    const root = put(fresh("t-tube"));
    // Drawn and worded by our own server, and kept from there.
    root.querySelector(".drawn").innerHTML = step.html;
    root.querySelector("h2").focus({ preventScroll: true });
    text(root, ".counted", step.purpose === "discard" ? "The tubes after it count on this discard: ask before you go on without it." : "Why?");
    on(root, ".filled", acts.filled);
    on(root, ".reasons button", (button) => acts.notDrawn(button.value));
    on(root, ".next", acts.next);
    const part = step.specimen ? label(view, step, acts) : null;
    if (part) root.querySelector(".label-part").append(part.root);
    return {
      refresh: (now) => {
        root.querySelector(".to-fill").hidden = now.isFilled;
        root.querySelector(".after").hidden = !now.isFilled;
        text(root, ".done-words", now.isFilled ? `✓ Filled at ${now.time}. ${step.then || ""}` : "");
        part?.refresh(now);
      },
    };
  };

  const labels = (view, rows, acts) => {
    const root = put(fresh("t-labels"));
    text(root, ".headline", rows.length ? "Take each tube in turn: print, stick, scan." : "No tube was filled: there is no label.");
    const parts = rows.map((row) => {
      const one = item("");
      one.append(item(`Tube ${row.step.number}, ${row.step.mark}, ${row.step.name}${row.elsewhere}`, "h3"));
      const part = label(view, row.step, row.acts);
      part.root.querySelector(".print button").textContent = `Print ${row.step.number}`;
      one.append(part.root);
      root.querySelector(".to-label").append(one);
      return part;
    });
    const all = fresh("t-label").querySelector(".print");
    let left = [];
    const focusNext = () => left.length && parts[left[0]].root.querySelector(".scan input").focus();
    if (rows.length) {
      fillPrint(all, () => left.map((place) => rows[place].step), rows[0].acts, focusNext);
      root.querySelector(".print-all").append(all);
    }
    on(root, ".finish", acts.finish);
    on(root, ".set-aside", acts.aside);
    on(root, ".to-list", acts.leave);
    return {
      refresh: (states) => {
        states.forEach((now, place) => parts[place].refresh(now));
        left = states.flatMap((now, place) => (now.isLabelled ? [] : [place]));
        all.hidden = !left.length || states.some((now) => !now.isSent || now.isAway);
        all.querySelector("button").textContent = left.length === 1 ? "Print the label" : `Print all ${left.length} labels`;
        root.querySelector(".finish").hidden = states.some((now) => !now.isLabelled);
        // A scan that was right hides its field; the next one is meant.
        const hasLost = document.activeElement === document.body || document.activeElement?.closest(".to-label form")?.hidden;
        if (hasLost) focusNext();
      },
    };
  };

  const aside = (acts) => {
    const root = put(fresh("t-aside"));
    on(root, ".reasons button", (button) => acts.choose(button.value));
    on(root, ".back", acts.back);
  };

  const done = (words) => text(put(fresh("t-done")), ".done-words", words);

  const SIGNS = { filled: ["✓", "filled"], "not-drawn": ["✕", "not drawn"], labelled: ["▣", "labelled"], now: ["●", "now"], wait: ["○", "to come"] };
  const steps = (rows) => {
    at("steps").replaceChildren(
      ...rows.map(({ step, is }) => {
        const [sign, words] = SIGNS[is];
        const one = item("");
        one.className = is;
        one.append(item(String(step.number), "b"), item(step.mark || "–", "span"), item(sign, "i"), Object.assign(item(words, "span"), { className: "unseen" }));
        return one;
      }),
    );
  };

  const stop = (said, buttons) => {
    at("stop-said").textContent = said;
    at("stop-acts").replaceChildren(
      ...buttons.map(([words, done]) => {
        const button = item(words, "button");
        button.addEventListener("click", () => {
          at("stop").hidden = true;
          at("stage").hidden = false;
          done();
        });
        return button;
      }),
    );
    at("stop").hidden = false;
    at("stage").hidden = true;
    at("stop").focus();
    scrollTo(0, 0);
  };

  const wire = (words, needsDoor, act) => {
    const line = at("wire");
    if (line.dataset.said === words) return;
    line.dataset.said = words;
    line.replaceChildren(words);
    if (needsDoor) line.append(" ", Object.assign(item("Sign in again", "a"), { href: "/sign-in" }));
    if (act) {
      const button = item("Type them again", "button");
      button.addEventListener("click", act);
      line.append(" ", button);
    }
  };

  // From here on a device's clock is said to be wrong.
  const CLOCK_MIN = 2;
  const clockWords = (aheadMs) => {
    const minutes = Math.round(Math.abs(aheadMs) / 60000);
    return minutes < CLOCK_MIN ? "" : ` ▲ This device's clock is ${minutes} min ${aheadMs > 0 ? "fast" : "slow"}; the server's counts.`;
  };
  const wrongLabelWords = (view, step, code) => {
    const own = view.steps.find((one) => one.specimen === code);
    const of = own ? `It is the one of tube ${own.number}, and this is tube ${step.number}.` : "It is of no tube of this draw: of another draw or another patient.";
    return `Wrong label. ${of} Take it off tube ${step.number}; do not send the tube.`;
  };

  // That another version of the site is in force than this draw was planned on; nothing of the draw changes for it.
  const moved = (words) => {
    const line = at("moved");
    if (line.dataset.said === words) return;
    line.dataset.said = words;
    line.hidden = !words;
    line.replaceChildren(item("▲ Watch", "b"), ` This draw was ${words}.`);
  };

  return Object.freeze({ list, who, again, tube, labels, aside, done, steps, stop, wire, moved, clockWords, wrongLabelWords });
})();
