// Runs the core's results on the Cortex-M0+ in rp2040js and prints the lines as they come, with what
// each cost. usage: agree.mjs IMAGE SITES
import fs from 'node:fs';
import { RP2040 } from 'rp2040js';

const image = fs.readFileSync(process.argv[2]), wanted = Number(process.argv[3]);
const mcu = new RP2040();
mcu.logger = { debug() {}, info() {}, warn() {}, error: (w, m) => { throw new Error(`${w}: ${m}`); } };
mcu.flash.set(image);
mcu.onBreak = (code) => { throw new Error(`breakpoint ${code}`); };
let text = '', lines = 0, long = 0, cycles = 0, instructions = 0, from = 0, most = 0, longest = '';
mcu.uart[0].onByte = (b) => {
  if (b !== 10) { text += String.fromCharCode(b); return; }
  // The first line is about floats, before the sites.
  if (text.startsWith('sums')) console.error(text);
  else { console.log(text); lines++; if (cycles - from > 125e6) long++; if (cycles - from > most) { most = cycles - from; longest = text.split(' ')[0]; } }
  from = cycles; text = '';
};
const { core } = mcu;
core.VTOR = 0x10000000; core.SP = mcu.readUint32(0x10000000); core.PC = mcu.readUint32(0x10000004) & ~1;
while (lines < wanted && !core.waiting) { cycles += core.executeInstruction(); instructions++; }
console.error(`${lines} sites, ${instructions} instructions, ${cycles} cycles; the longest, ${longest}, ${most} cycles, ${(most / 125e6).toFixed(2)} s at 125 MHz; ${long} above 1 s`);
