// `npm run words`: every sentence of src/ and shared/ that a person can read, with file and line, to be read as one text.
// `npm run words -- src/plan` takes part of it.
import fs from 'node:fs';
import path from 'node:path';
import { fileURLToPath } from 'node:url';
import { parseSync } from 'vite';

/** @typedef {{type: string, start: number} & Record<string, any>} Node */

const ROOT = path.resolve(path.dirname(fileURLToPath(import.meta.url)), '..');
const asked = process.argv.slice(2);

/** Nodes that hold no sentence. */
const NO_SENTENCES = new Set([
  'ImportDeclaration',
  'ExportAllDeclaration',
  'TSTypeAnnotation',
  'TSTypeAliasDeclaration',
]);
/** What the database and the library of C read. */
const FOR_MACHINES =
  /^\s*(SELECT|INSERT|UPDATE|DELETE|CREATE|ALTER|DROP|PRAGMA|WITH|BEGIN)\b|^(const |void |int |GPContext \*).*\(/;

/** @param {Node} node @returns {string | null} its words, with {...} for what is put in; null: it is no text */
function wordsOf(node) {
  if (node.type === 'Literal') return typeof node.value === 'string' ? node.value : null;
  if (node.type === 'TemplateLiteral')
    return node.quasis
      .map((/** @type {Node} */ part, /** @type {number} */ at) => {
        const put = node.expressions[at];
        return part.value.cooked + (put === undefined ? '' : '{…}');
      })
      .join('');
  if (node.type === 'BinaryExpression' && node.operator === '+') {
    const [left, right] = [wordsOf(node.left), wordsOf(node.right)];
    return left === null && right === null ? null : `${left ?? '{…}'}${right ?? '{…}'}`;
  }
  return null;
}

/** A sentence has a blank and two words of letters; a name or a pattern has not. */
const isSentence = (/** @type {string} */ words) =>
  /\p{L}{2,}.* /su.test(`${words.trim()} `) && /\p{L}\S* \S*\p{L}/u.test(words) && !FOR_MACHINES.test(words);

/** @param {unknown} node @param {(words: string, at: number) => void} tell @returns {void} */
function walk(node, tell) {
  if (Array.isArray(node)) {
    for (const one of node) walk(one, tell);
    return;
  }
  if (typeof node !== 'object' || node === null) return;
  const one = /** @type {Node} */ (node);
  if (NO_SENTENCES.has(one.type)) return;
  const words = wordsOf(one);
  if (words !== null && isSentence(words)) tell(words, one.start);
  // What is put into a sentence may hold sentences of its own.
  const inside = words === null ? Object.values(one) : putIn(one);
  walk(inside, tell);
}

/** @param {Node} node @returns {Node[]} the parts of a text that are no text themselves */
function putIn(node) {
  if (node.type === 'TemplateLiteral') return node.expressions;
  if (node.type !== 'BinaryExpression') return [];
  return [node.left, node.right].flatMap((side) => (wordsOf(side) === null ? [side] : putIn(side)));
}

let count = 0;
for (const room of ['src', 'shared'])
  for (const name of fs.readdirSync(path.join(ROOT, room), { recursive: true, encoding: 'utf8' }).sort()) {
    const file = `${room}/${name}`;
    if (!/\.(ts|mjs)$/.test(file) || (asked.length > 0 && !asked.some((one) => file.startsWith(one))))
      continue;
    const text = fs.readFileSync(path.join(ROOT, file), 'utf8');
    /** @type {string[]} */
    const lines = [];
    walk(parseSync(file, text).program, (words, at) => {
      const line = text.slice(0, at).split('\n').length;
      lines.push(`${String(line).padStart(5)}  ${words.trim().replace(/\s*\n\s*/g, ' / ')}`);
    });
    count += lines.length;
    if (lines.length > 0) process.stdout.write(`${file}\n${lines.join('\n')}\n\n`);
  }
process.stdout.write(`${count} sentences\n`);
