// The two-identifier check of the page, so that a dropped connection does not stop it. The server checks the same again
// (app/patient_check.py); the tests hold both to one list of cases.
"use strict";
const cubitalIdentity = (() => {
  const plain = (text) => text.normalize("NFKC").split(/\s+/).filter(Boolean).join(" ");

  // Small letters, the family name last where a comma says that it stands first; nothing else is turned round.
  const nameOf = (text) => {
    const low = plain(text).toLowerCase();
    const parts = low.split(",");
    return plain(parts.length === 2 ? `${parts[1]} ${parts[0]}` : low);
  };

  // Year first, with hyphens or as eight digits; null for anything else.
  const readDay = (text) => {
    const found = /^(?:(\d{4})-(\d{2})-(\d{2})|(\d{4})(\d{2})(\d{2}))$/.exec(text.trim());
    if (!found) return null;
    const [year, month, day] = found[1] ? found.slice(1, 4) : found.slice(4, 7);
    const date = new Date(`${year}-${month}-${day}T00:00:00Z`);
    const written = `${year}-${month}-${day}`;
    return !Number.isNaN(date.getTime()) && date.toISOString().startsWith(written) ? written : null;
  };

  // The name of the field of the request that cannot be read; an empty text where all can.
  const unreadable = (said) => {
    if (!plain(said.name)) return "name";
    if (!plain(said.number)) return "number";
    return readDay(said.born) ? "" : "born";
  };

  const agrees = (said) => {
    const second = plain(said.stated_second);
    const isSecond = second === plain(said.number) || (readDay(second) !== null && readDay(second) === readDay(said.born));
    return Boolean(second) && nameOf(said.stated_name) === nameOf(said.name) && isSecond;
  };

  return Object.freeze({ plain, nameOf, readDay, unreadable, agrees });
})();
