// The vectors in JavaScript: the exclusive OR of each packet, and what must be refused.
const fs = require("fs");
const path = require("path");

const folder = path.join(__dirname, "..");
let count = 0, wrong = 0;
for (const name of fs.readdirSync(folder).filter((one) => one.endsWith(".json")).sort()) {
  const family = JSON.parse(fs.readFileSync(path.join(folder, name), "utf8"));
  if (family.schema !== 1) throw new Error(`${name}: another version`);
  for (const one of family.cases.filter((one) => "bytes" in one)) {
    const data = one.bytes.split(" ").filter(Boolean).map((byte) => parseInt(byte, 16));
    const right = data.length >= 3 && data.length <= 6 && data.reduce((a, b) => a ^ b, 0) === 0;
    count += 1;
    wrong += right === (family.family === "refused") ? 1 : 0;
    // Your codec: decode(data, one.mode) must give one.address and one.instructions, and encoding
    // these must give the same bytes; of a refused case one.reason says why.
  }
}
console.log(`${count} packets, ${wrong} otherwise than they should be`);
process.exit(wrong > 0 ? 1 : 0);
