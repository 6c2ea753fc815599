// Sends the taps that are kept, in order, once: again and again under the same key until the server has answered.
"use strict";
const cubitalSend = (() => {
  const FIRST_MS = 1000;
  const MOST_MS = 30000;
  const state = { token: "", account: "", isAway: false, mustSignIn: false, isSending: false, aheadMs: 0 };
  let wait = FIRST_MS;
  let timer = 0;
  let told = () => {};

  // This load of the page, and where its own clock stands.
  const page = cubitalKeep.letters(12);
  const tick = () => ({ page, tickMs: performance.now() });

  const say = (changed) => {
    Object.assign(state, changed);
    told();
  };

  // The answer of one of our own addresses; null where nobody answers, "door" where someone must sign in first.
  const ask = async (address, body) => {
    let answer;
    try {
      answer = await fetch(address, { method: body ? "POST" : "GET", body, redirect: "manual", cache: "no-store" });
    } catch {
      return null;
    }
    if (answer.status >= 500) return null;
    if (!answer.ok || !(answer.headers.get("content-type") || "").startsWith("application/json")) return "door";
    return answer.json().catch(() => null);
  };

  // The list of draws, or one of them; brings the token and the name that this browser sends with.
  const look = async (code) => {
    const found = await ask(code ? `/take/draws?draw=${encodeURIComponent(code)}` : "/take/draws");
    if (found === null) say({ isAway: true });
    else if (found === "door") say({ isAway: false, mustSignIn: true, token: "" });
    else say({ isAway: false, mustSignIn: false, token: found.token, account: found.account, aheadMs: Date.now() - found.now });
    return found === "door" ? null : found;
  };

  const form = (item) => {
    const fields = new URLSearchParams({ ...(item.said || {}), token: state.token, key: item.key, draw: item.code, kind: item.kind });
    fields.set("step", String(item.step));
    fields.set("at", String(item.at));
    // A clock that was set back since the tap is told by one that is not set while the page is open. That one may stand
    // still while the device sleeps: the longer of the two is believed.
    const agoMs = item.page === page ? Math.max(Date.now() - item.at, Math.round(performance.now() - item.tickMs)) : Date.now() - item.at;
    fields.set("now", String(item.at + agoMs));
    fields.set("by", item.account);
    fields.set("station", item.station);
    fields.set("why", item.why || "");
    fields.set("scanned", item.scanned || "");
    return fields;
  };

  const later = () => {
    clearTimeout(timer);
    timer = setTimeout(() => void send(), wait);
    wait = Math.min(MOST_MS, wait * 2);
  };

  // One tap to the server: "sent", "refused", or "later".
  const sendOne = async (item, settled) => {
    const answer = await ask("/take/tap", form(item));
    if (answer === null) {
      say({ isAway: true });
      return "later";
    }
    if (answer === "door") {
      // The session may have ended, or begun anew with another token.
      const old = state.token;
      await look("");
      return state.token && state.token !== old ? sendOne(item, settled) : "later";
    }
    say({ isAway: false, mustSignIn: false });
    if (!answer.ok && answer.again) return "later";
    await settled(item, answer);
    return "sent";
  };

  let settle = async () => {};
  let returned = async () => {};

  const send = async () => {
    if (state.isSending) return;
    clearTimeout(timer);
    state.isSending = true;
    try {
      for (;;) {
        const items = (await cubitalKeep.queue()).filter((item) => item.state === "waiting");
        if (!items.length) {
          // Nothing to send does not say that nobody answers any more: what the page shows may be old.
          if (state.isAway && !state.mustSignIn) {
            if (!(await look(""))) return later();
            await returned();
          }
          return;
        }
        if (!state.token && !(await look(""))) return later();
        // What hangs on a check without its identifiers waits for them.
        const own = items.filter((one) => one.account === state.account);
        const held = new Set(own.filter((one) => one.isBlind && one.whose).map((one) => one.code));
        const item = own.find((one) => !held.has(one.code));
        if (!item) return;
        if ((await sendOne(item, settle)) === "later") return later();
        wait = FIRST_MS;
      }
    } finally {
      say({ isSending: false });
    }
  };

  const start = (whenTold, whenSettled, whenReturned) => {
    told = whenTold;
    settle = whenSettled;
    returned = whenReturned;
    addEventListener("online", () => {
      wait = FIRST_MS;
      void send();
    });
    addEventListener("offline", () => say({ isAway: true }));
    // Another page may have signed in, or the device may have slept.
    document.addEventListener("visibilitychange", () => {
      if (document.visibilityState === "visible") void send();
    });
  };

  return Object.freeze({ state, tick, look, send, start });
})();
