// Codes as the shop prints them: the same reading as the server's, so that a mistyped character shows at once, offline too.

import { say } from "./language.js";

const ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ";
const CHECK = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ";
const LOOK_ALIKES = { I: "1", L: "1", O: "0" };
const SHORTEST = 6;
const LONGEST = 10;

function checkCharacter(text) {
  let running = 36;
  for (const character of text) {
    running = (running + CHECK.indexOf(character)) % 36 || 36;
    running = (running * 2) % 37;
  }
  return CHECK[(37 - running) % 36];
}

// {code} for a code of the shop's form, {wrong: sentence} for anything else.
export function readCode(text) {
  const plain = text
    .slice(0, 80)
    .replace(/[\s\p{Pd}\p{Cf}.·]+/gu, "")
    .toUpperCase()
    .replace(/[ILO]/g, (character) => LOOK_ALIKES[character]);
  if (!plain) return { wrong: say("Nothing was scanned. Scan or type a code.") };
  const fits = plain.length >= SHORTEST && plain.length <= LONGEST;
  if (!fits || [...plain].some((character) => !ALPHABET.includes(character))) {
    const shown = text.trim().slice(0, 24);
    return { wrong: say("“{shown}” is not a code of this shop. Scan a traveler or a label.", { shown }) };
  }
  if (checkCharacter(plain.slice(0, -1)) !== plain.at(-1)) {
    return { wrong: say("That code has a mistyped character. Scan it again.") };
  }
  return { code: plain };
}

export function grouped(code) {
  return code.match(/.{1,4}/g)?.join(" ") ?? "";
}
