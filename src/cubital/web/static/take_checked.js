// Whether two identifiers were checked for a draw: by whoever has it in hand, at this device and not long ago, with no
// later check that failed or was of another draw. Else the patient at the chair may be another one.
"use strict";
const cubitalChecked = (() => {
  const CLOCK_MS = 60000;

  const stands = (hand, check, device, waiting) => {
    const isOwn = (one) => one.code === hand.code && one.account === hand.account;
    const made = cubitalKeep.checks().find((one) => isOwn(one) && one.check === check);
    // It stands with the server, or is still to be sent; and none that is to be sent failed after it.
    const isSent = hand.view.checked[`${device}/${hand.account}/${check}`];
    const isHeld = isSent || waiting.some((item) => isOwn(item) && item.kind === "identified" && item.step === check);
    const last = waiting.filter((item) => item.account === hand.account && ["identified", "mismatched"].includes(item.kind)).at(-1);
    if (!made || !isHeld || last?.kind === "mismatched") return false;
    const ago = Date.now() - made.at;
    // A clock that was set back since tells nothing.
    return ago > -CLOCK_MS && ago <= hand.view.check_holds_ms;
  };

  // A check that agreed ends those of every other draw.
  const note = (hand, check) => {
    const others = cubitalKeep.checks().filter((one) => one.code === hand.code && one.account === hand.account && one.check !== check);
    cubitalKeep.setChecks([...others, { code: hand.code, check, account: hand.account, at: Date.now() }]);
  };

  return Object.freeze({ stands, note });
})();
