// The vectors in JavaScript: where each kind of case belongs in the test of a codec.
const fs = require("fs");
const path = require("path");

const folder = path.join(__dirname, "..");
let count = 0, wrong = 0;
for (const name of fs.readdirSync(folder).filter((one) => one.endsWith(".json")).sort()) {
  const family = JSON.parse(fs.readFileSync(path.join(folder, name), "utf8"));
  if (family.schema !== 1) throw new Error(`${name}: another version`);
  const refused = family.family === "refused"; // decode(bytes) refuses, for one.reason
  for (const one of family.cases) {
    // Bits, numbers of pairs, steps, CVs, rules: README.md says what each has.
    if (!refused && !("instructions" in one && "bytes" in one)) continue;
    // Your codec: decode(bytes, one.mode) gives one.address and one.instructions, and encoding
    // these gives the same bytes.
    const data = one.bytes.split(" ").filter(Boolean).map((byte) => parseInt(byte, 16));
    const right = data.length >= 3 && data.length <= 6 && data.reduce((a, b) => a ^ b, 0) === 0;
    count += 1;
    wrong += right === refused ? 1 : 0;
  }
}
console.log(`${count} packets, ${wrong} otherwise than they should be`);
process.exit(wrong > 0 ? 1 : 0);
