// Whose draw it is, as this device may remember it without a connection: a salted, slow digest of the request's name,
// number and birth date, kept with the draw and gone with it. None of the three can be read from it, only tried out, slowly.
// Without a safe connection browsers give no digest; then only the server tells one patient from another.
"use strict";
const cubitalWhose = (() => {
  // So that trying out who it could be is slow; a house rule without a source.
  const TURNS = 210000;

  const hex = (bytes) => [...new Uint8Array(bytes)].map((one) => one.toString(16).padStart(2, "0")).join("");
  const words = (said) => JSON.stringify([cubitalIdentity.nameOf(said.name), cubitalIdentity.plain(said.number), cubitalIdentity.readDay(said.born)]);

  const digest = async (said, salt, turns) => {
    const key = await crypto.subtle.importKey("raw", new TextEncoder().encode(words(said)), "PBKDF2", false, ["deriveBits"]);
    return hex(await crypto.subtle.deriveBits({ name: "PBKDF2", hash: "SHA-256", salt: new TextEncoder().encode(salt), iterations: turns }, key, 256));
  };

  const seal = async (said) => {
    if (!crypto.subtle) return null;
    const salt = hex(crypto.getRandomValues(new Uint8Array(16)));
    return { salt, turns: TURNS, digest: await digest(said, salt, TURNS) };
  };

  // Whether the request is another one than that of the seal; false where there is nothing to tell it by.
  const isOther = async (whose, said) => Boolean(whose && crypto.subtle) && (await digest(said, whose.salt, whose.turns)) !== whose.digest;

  return Object.freeze({ seal, isOther });
})();
