// Takes the identifiers of a check that is not yet sent off this device: when its session is signed out, when somebody
// else signs in, when it is three days old. The tap stays; whoever made it types those of the request again to send it.
"use strict";
const cubitalForget = (() => {
  // As long as a draw may stay open at the server; a house rule without a source.
  const LONGEST_MS = 72 * 3600 * 1000;
  const isOld = (item) => Date.now() - item.at > LONGEST_MS;

  // Opened only where a page said that taps are kept: never made here.
  const open = () =>
    new Promise((resolve) => {
      try {
        const asked = indexedDB.open("cubital-take");
        asked.onupgradeneeded = () => asked.transaction.abort();
        asked.onsuccess = () => resolve(asked.result);
        asked.onerror = () => resolve(null);
      } catch {
        resolve(null);
      }
    });

  // Drop the identifiers of the taps for which `isGone` holds; true where there was one.
  const forget = async (isGone) => {
    const base = await open();
    if (!base) return false;
    return new Promise((resolve) => {
      let isChanged = false;
      const work = base.transaction("queue", "readwrite", { durability: "strict" });
      const asked = work.objectStore("queue").openCursor();
      asked.onsuccess = () => {
        const cursor = asked.result;
        if (!cursor) return;
        const { said, ...rest } = cursor.value;
        if (said && isGone(rest)) {
          isChanged = true;
          cursor.update({ ...rest, isBlind: true });
        }
        cursor.continue();
      };
      work.oncomplete = work.onabort = () => {
        base.close();
        resolve(isChanged);
      };
    });
  };

  const waitingWords = (count) => `${count} tap${count === 1 ? " is" : "s are"} waiting on this device, not yet sent`;
  // Asks before signing out; the identifiers are gone before the session is.
  const signOut = (form, count, then) =>
    form.addEventListener("submit", async (event) => {
      const many = count();
      if (!many) return then?.();
      event.preventDefault();
      if (!confirm(`${waitingWords(many)}. They stay here until you sign in again and open Take. The patient's identifiers among them are removed now; you type those of the request again then. Sign out all the same?`)) return;
      await forget(() => true);
      await then?.();
      form.submit();
    });

  return Object.freeze({ forget, isOld, waitingWords, signOut });
})();
