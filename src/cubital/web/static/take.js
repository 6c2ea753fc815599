// The Take page: which screen a draw in hand is at, and what becomes of each tap. A tap is kept on the device first, then
// sent; what the server says of it decides.
"use strict";
(async () => {
  const { state } = cubitalSend;
  const keep = cubitalKeep;
  const screens = cubitalScreens;
  const device = keep.station();
  let hand = await keep.hand();
  let queue = await keep.queue();
  let shown = { key: "", screen: null };
  let isStopped = false;
  let isChecking = false;
  let isAsideAsked = false;

  const waiting = () => queue.filter((item) => item.state === "waiting");
  const local = (kind, step) => waiting().find((item) => item.code === hand.code && item.kind === kind && item.step === step);
  const settledAt = (step) => {
    const item = local("filled", step.number) || local("not-drawn", step.number);
    if (step.settled || !item) return step.settled;
    return { kind: item.kind, said: new Date(item.at).toTimeString().slice(0, 8) };
  };
  const isLabelled = (step) => step.labelled || Boolean(local("labelled", step.number));
  const checkOf = (step) => hand.view.draws.find((one) => one.number === step.draw).check;
  const isChecked = (step) => cubitalChecked.stands(hand, checkOf(step), device, waiting());
  const isKept = (step) => step.specimen && settledAt(step)?.kind === "filled";
  const isOpen = (step) => !settledAt(step) || (isKept(step) && !isLabelled(step));

  const save = () => keep.setHand(hand);

  const tap = async (kind, step, more = {}) => {
    const key = `${device}/${hand.code}/${kind}/${step}/${keep.letters(8)}`;
    const item = { key, code: hand.code, kind, step, at: Date.now(), account: hand.account, station: device, state: "waiting", ...cubitalSend.tick(), ...more };
    await keep.add(item, hand);
    queue = await keep.queue();
    render();
    void cubitalSend.send();
  };

  // What the server said of a tap: taken in, or refused for good and shown until it was seen.
  const settle = async (item, answer) => {
    if (hand && hand.code === item.code && answer.ok) note(item);
    if (answer.ok) await keep.settle(item.seq, hand);
    else await keep.change({ ...item, said: undefined, scanned: undefined, state: "refused", refusal: answer.said });
    if (!answer.ok && item.kind === "identified") {
      keep.setChecks([]);
      if (hand?.whose && hand.whose.digest === item.whose?.digest) {
        hand = { ...hand, whose: null };
        await save();
      }
    }
    queue = await keep.queue();
    if (!answer.ok || !waiting().length) await refresh();
    render();
  };

  const note = (item) => {
    const step = hand.view.steps[item.step - 1];
    if (item.kind === "identified") hand.view.checked[`${device}/${item.account}/${item.step}`] = item.at;
    else if (item.kind === "labelled") step.labelled = true;
    else if (item.kind === "filled" || item.kind === "not-drawn") {
      step.settled = { kind: item.kind, at: item.at, said: new Date(item.at).toTimeString().slice(0, 8), by: item.account, station: device };
    } else if (item.kind === "finished" || item.kind === "set-aside") hand.view.closed = true;
  };

  // The draw as the server has it now, with what other devices did.
  const refresh = async () => {
    if (!hand) return;
    const code = hand.code;
    const found = await cubitalSend.look(code);
    if (!found?.draw || !hand || hand.code !== code) return;
    hand = { ...hand, view: found.draw };
    await save();
  };

  const take = async (code) => {
    const found = await cubitalSend.look(code);
    if (found?.draw) {
      hand = { code, account: found.account, view: found.draw, showing: null };
      await save();
    } else if (found) {
      screens.stop(`There is no draw ${code} to take. It may have been planned elsewhere; plan it again.`, [["To the list", leave]]);
      return;
    }
    render();
  };

  const leave = async () => {
    hand = null;
    shown.key = "";
    await save();
    history.replaceState(null, "", "/take");
    await list();
  };

  const list = async () => {
    const found = await cubitalSend.look("");
    if (hand) return;
    shown = { key: "list", screen: null };
    screens.list(found ? found.draws : null, take);
    render();
  };

  const check = async (said) => {
    if (isChecking) return;
    isChecking = true;
    try {
      const { code } = hand;
      const number = place().draw.check;
      if (!cubitalIdentity.agrees(said)) return stopCheck(number, "The patient and the request do not agree. Do not draw.");
      if (await cubitalWhose.isOther(hand.whose, said)) {
        return stopCheck(number, "This is another request than the one that this draw was begun with. Do not draw.");
      }
      const whose = hand.whose || (await cubitalWhose.seal(said));
      if (hand?.code !== code) return;
      hand = { ...hand, whose };
      cubitalChecked.note(hand, number);
      await tap("identified", number, { said, whose });
    } finally {
      isChecking = false;
    }
  };

  const stopCheck = (number, words) => {
    keep.setChecks([]);
    void tap("mismatched", number);
    isStopped = true;
    screens.stop(words, [
      ["Ask the patient again", () => goOn(() => shown.screen.again?.())],
      ["Set this draw aside", () => goOn(askAside)],
    ]);
  };

  const goOn = (then) => {
    isStopped = false;
    render();
    then?.();
  };

  const askAside = () => {
    isAsideAsked = true;
    render();
  };

  const labelActs = (step) => ({
    stock: (key) => keep.choose("stock", key),
    asked: (form) => {
      for (const [name, value] of Object.entries({ token: state.token, draw: hand.code, station: device })) form.elements[name].value = value;
    },
    scanned: (code) => {
      if (!isChecked(step)) return render();
      if (code === step.specimen) return tap("labelled", step.number, { scanned: code });
      void tap("stopped", step.number, { why: "label" });
      isStopped = true;
      screens.stop(screens.wrongLabelWords(hand.view, step, code), [["Scan again", () => goOn()]]);
    },
  });

  // Where this draw is: the first thing that is not done yet.
  const place = () => {
    const { view, showing } = hand;
    if (view.closed || waiting().some((item) => item.code === hand.code && ["finished", "set-aside"].includes(item.kind))) return { name: "done" };
    if (isAsideAsked) return { name: "aside" };
    const step = view.steps[(showing || 0) - 1] || view.steps.find((one) => !settledAt(one));
    const unsure = (step ? [step] : view.steps).find((one) => isOpen(one) && !isChecked(one));
    if (unsure) return { name: "who", draw: view.draws.find((one) => one.number === unsure.draw) };
    return step ? { name: "tube", step } : { name: "labels" };
  };

  const now = (step) => ({
    isFilled: settledAt(step)?.kind === "filled", time: settledAt(step)?.said, isSent: step.settled?.kind === "filled",
    isLabelled: isLabelled(step), isAway: state.isAway || !state.token,
  });

  const open = (at) => {
    const { view } = hand;
    if (at.name === "done") return screens.done(waiting().length ? "What is kept here is still to be sent: leave this page open or come back to it." : "Everything of it is with the server.");
    if (at.name === "aside") {
      return screens.aside({
        choose: (why) => { isAsideAsked = false; void tap("set-aside", 0, { why }); },
        back: () => { isAsideAsked = false; render(); },
      });
    }
    if (at.name === "who") return screens.who(view, at.draw, { check, aside: askAside, leave });
    if (at.name === "labels") {
      const rows = view.steps.filter(isKept).map((step) => {
        const { station, by } = step.settled || {};
        const elsewhere = station && station !== device ? `, filled by ${by} at ${station}: no other tube gets its label` : "";
        return { step, elsewhere, acts: labelActs(step) };
      });
      return screens.labels(view, rows, { finish: () => tap("finished", 0), aside: askAside, leave });
    }
    const { step } = at;
    const goNext = async () => { hand.showing = null; await save(); render(); };
    return screens.tube(view, step, {
      ...labelActs(step),
      filled: () => { if (!isChecked(step)) return render(); hand.showing = step.number; void tap("filled", step.number); },
      notDrawn: (why) => { if (!isChecked(step)) return render(); hand.showing = null; void tap("not-drawn", step.number, { why }); },
      next: goNext,
    });
  };

  const render = () => {
    const refused = queue.find((item) => item.state === "refused");
    if (refused && !isStopped) {
      isStopped = true;
      screens.stop(`Not recorded: ${refused.refusal}.`, [["I have seen this", async () => {
        if (hand && hand.code === refused.code && hand.showing === refused.step) hand.showing = null;
        await keep.settle(refused.seq, hand);
        queue = await keep.queue();
        goOn();
      }]]);
    }
    if (isCompleting && blind()) {
      const item = blind();
      if (shown.key !== `again/${item.seq}`) {
        const back = () => { isCompleting = false; shown.key = ""; void (hand ? render() : list()); };
        shown = { key: `again/${item.seq}`, screen: screens.again(item.code, { said: (said) => complete(item, said), back }) };
      }
    } else if (hand) {
      const at = place();
      const key = [hand.code, at.name, at.step?.number, at.draw?.number, at.name === "labels" && hand.view.steps.filter(isKept).length, at.name === "done" && waiting().length > 0].join("/");
      if (key !== shown.key) {
        if (location.search !== `?draw=${hand.code}`) history.replaceState(null, "", `/take?draw=${hand.code}`);
        shown = { key, screen: open(at) };
      }
      if (at.name === "tube") shown.screen.refresh(now(at.step));
      if (at.name === "labels") shown.screen.refresh(hand.view.steps.filter(isKept).map(now));
      if (at.name === "done" && !waiting().length) void keep.setHand(null);
      screens.steps(hand.view.steps.map((step) => ({
        step, is: isKept(step) && isLabelled(step) ? "labelled" : settledAt(step)?.kind || (at.step === step ? "now" : "wait"),
      })));
    } else screens.steps([]);
    screens.moved((hand && !hand.view.closed && hand.view.moved_on) || "");
    sayWire();
  };

  // A check of one's own whose identifiers were taken off the device, and that they are asked for now.
  const blind = () => waiting().find((item) => item.isBlind && item.whose && item.account === state.account);
  let isCompleting = false;
  const complete = async (item, said) => {
    if (await cubitalWhose.isOther(item.whose, said)) return shown.screen.say("These are not the identifiers that were checked then. Take the request of this draw.");
    const { isBlind, ...rest } = item;
    // What the patient stated agreed with the request then, by this device; the server sees the request's own again.
    await keep.change({ ...rest, said: { ...said, stated_name: said.name, stated_second: said.number } });
    queue = await keep.queue();
    isCompleting = false;
    shown.key = "";
    void (hand ? render() : list());
    void cubitalSend.send();
  };
  const tidy = async () => {
    const isGone = (item) => cubitalForget.isOld(item) || Boolean(state.account && item.account !== state.account);
    if (!waiting().some((item) => item.said && isGone(item)) || !(await cubitalForget.forget(isGone))) return;
    queue = await keep.queue();
    render();
  };

  const sayWire = () => {
    const count = waiting().length;
    const others = [...new Set(waiting().map((item) => item.account))].filter((name) => state.account && name !== state.account);
    const kept = count ? `${count} kept here, not yet sent.` : "";
    document.body.dataset.wire = state.mustSignIn || others.length || blind() ? "door" : state.isAway ? "away" : count ? "sending" : "sent";
    if (state.mustSignIn) return screens.wire(`▲ Your session has ended. ${kept}`.trim(), true);
    if (blind() && !isCompleting) {
      return screens.wire(`▲ ${kept} The identifiers of draw ${blind().code} were removed from this device.`, false, () => {
        isCompleting = true;
        render();
      });
    }
    if (others.length) return screens.wire(`▲ ${kept} Tapped by ${others.join(", ")}, who must sign in to send it.`, false);
    if (state.isAway) return screens.wire(`▲ No connection. ${kept || "What you tap is kept here."}`, false);
    const loose = keep.isLasting() ? "" : " This browser keeps nothing: do not load the page again.";
    screens.wire((count ? `… ${kept}` : state.token ? "✓ Everything is sent." : "") + screens.clockWords(state.aheadMs) + loose, false);
  };

  const door = document.querySelector("form.who");
  if (door) cubitalForget.signOut(door, () => waiting().length, () => keep.setHand(null));

  if ("serviceWorker" in navigator && window.isSecureContext) navigator.serviceWorker.register("/take/worker.js", { scope: "/take" }).catch(() => {});
  cubitalSend.start(render, settle, () => refresh().then(render));
  setInterval(() => void tidy().then(render), 20000);
  // Another device may have gone on with this draw meanwhile.
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "visible" && hand) void refresh().then(render);
  });
  const code = new URLSearchParams(location.search).get("draw") || "";
  if (hand && (code ? hand.code !== code : hand.view.closed)) hand = null;
  render();
  if (hand) {
    await refresh();
    if (hand && state.account && hand.account !== state.account) await take(hand.code);
  } else if (code) await take(code);
  else await list();
  if (!hand && !shown.key) await list();
  await tidy();
  render();
  void cubitalSend.send();
})();
