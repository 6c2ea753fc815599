// What this device keeps: the draw in hand without anything of the patient, and the taps that are not yet sent. A tap is
// on the disk before the page says that it is kept. Where the browser keeps nothing, both live as long as the page.
"use strict";
const cubitalKeep = (() => {
  const UNSENT = "cubital-take-unsent";
  const CHECKS = "cubital-take-checks";
  const STATION = "cubital-take-device";
  const memory = { hand: null, queue: [], next: 1 };
  let isLasting = true;

  const opening = new Promise((resolve) => {
    try {
      const asked = indexedDB.open("cubital-take", 1);
      asked.onupgradeneeded = () => {
        asked.result.createObjectStore("hand");
        asked.result.createObjectStore("queue", { keyPath: "seq", autoIncrement: true });
      };
      asked.onsuccess = () => resolve(asked.result);
      asked.onerror = () => resolve(null);
    } catch {
      resolve(null);
    }
  }).then((found) => {
    isLasting = found !== null;
    return found;
  });

  // Everything that `work` does to the two stores, all of it or nothing; its request's result once it is on the disk.
  const within = async (mode, work) => {
    const base = await opening;
    return new Promise((resolve, reject) => {
      const transaction = base.transaction(["hand", "queue"], mode, { durability: "strict" });
      const request = work(transaction.objectStore("hand"), transaction.objectStore("queue"));
      transaction.oncomplete = () => resolve(request ? request.result : undefined);
      transaction.onerror = transaction.onabort = () => reject(transaction.error);
    });
  };

  const count = async () => {
    const waiting = (await queue()).filter((item) => item.state === "waiting").length;
    try {
      if (waiting) localStorage.setItem(UNSENT, String(waiting));
      else localStorage.removeItem(UNSENT);
    } catch {
      // Where nothing may be kept, the other pages do not say so either.
    }
  };

  const hand = async () => ((await opening) ? (await within("readonly", (hands) => hands.get("hand"))) || null : memory.hand);
  const queue = async () => ((await opening) ? within("readonly", (_, items) => items.getAll()) : [...memory.queue]);

  const setHand = async (value) => {
    if (!(await opening)) memory.hand = value;
    else await within("readwrite", (hands) => (value ? hands.put(value, "hand") : hands.delete("hand")));
  };

  // A new tap, and how the draw in hand stands with it.
  const add = async (item, value) => {
    if (!(await opening)) {
      memory.queue.push({ ...item, seq: memory.next++ });
      memory.hand = value;
    } else {
      await within("readwrite", (hands, items) => {
        if (value) hands.put(value, "hand");
        return items.add(item);
      });
    }
    await count();
  };

  // An acknowledged tap leaves the device in the same step in which the draw in hand learns of it.
  const settle = async (seq, value) => {
    if (!(await opening)) {
      memory.queue = memory.queue.filter((one) => one.seq !== seq);
      if (value) memory.hand = value;
    } else {
      await within("readwrite", (hands, items) => {
        if (value) hands.put(value, "hand");
        return items.delete(seq);
      });
    }
    await count();
  };

  const change = async (item) => {
    if (!(await opening)) memory.queue = memory.queue.map((one) => (one.seq === item.seq ? item : one));
    else await within("readwrite", (_, items) => items.put(item));
    await count();
  };

  const letters = (many) => [...crypto.getRandomValues(new Uint8Array(many))].map((one) => "23456789ABCDEFGHJKMNPQRSTWXYZ"[one % 29]).join("");

  // Where nothing may be kept, the name lasts as long as the page: never one that another device has too.
  const loose = `take-${letters(4)}`;
  const station = () => {
    try {
      const known = localStorage.getItem(STATION) || loose;
      localStorage.setItem(STATION, known);
      return known;
    } catch {
      return loose;
    }
  };

  // A choice of this device that is worth remembering, such as the label stock in its printer.
  const choose = (name, value) => {
    try {
      if (value) localStorage.setItem(`cubital-take-${name}`, value);
      return localStorage.getItem(`cubital-take-${name}`) || "";
    } catch {
      return "";
    }
  };

  // The checks of two identifiers that stand at this device, all of one draw: `{ code, check, account, at }`. In the
  // storage that every page of the device sees at once, so that a check in another one voids them here too.
  let loosely = [];
  const checks = () => {
    try {
      return JSON.parse(localStorage.getItem(CHECKS) || "[]");
    } catch {
      return loosely;
    }
  };
  const setChecks = (made) => {
    loosely = made;
    try {
      localStorage.setItem(CHECKS, JSON.stringify(made));
    } catch {
      // Then they last as long as the page.
    }
  };

  return Object.freeze({ hand, queue, choose, checks, setChecks, setHand, add, settle, change, letters, station, isLasting: () => isLasting });
})();
