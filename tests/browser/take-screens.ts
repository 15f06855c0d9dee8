// Takes a picture of every screen at every width, by day and by night, into dist/screens; index.html there shows all of them.
// EVENRUNG_SCREENS takes parts of their names, with commas between, where only some are wanted.
import { mkdir, rm, writeFile } from 'node:fs/promises';
import path from 'node:path';
import { afterAll, beforeAll, describe, it } from 'vitest';
import { PANEL } from '../built.js';
import { PracticePanel, type Size } from './practice-panel.js';
import { fireSets, openScreen, SCREENS } from './screens.js';

const INTO = path.resolve(PANEL, '..', 'screens');
const WIDTHS = [
  { width: 320, height: 640, hasTouch: true },
  { width: 390, height: 844, hasTouch: true },
  { width: 1280, height: 800, hasTouch: false },
] as const;
const LOOKS = [
  { look: 'day', colorScheme: 'light' },
  { look: 'night', colorScheme: 'dark' },
] as const;
const wanted = process.env.EVENRUNG_SCREENS ?? '';

const views = WIDTHS.flatMap((size) =>
  LOOKS.map(({ look, colorScheme }) => ({
    name: `${size.width}-${look}`,
    look,
    size: { ...size, name: '', colorScheme } satisfies Size,
  })),
);

let panel: PracticePanel;
beforeAll(async () => {
  if (wanted === '') await rm(INTO, { recursive: true, force: true });
  await mkdir(INTO, { recursive: true });
  panel = await PracticePanel.start({
    ...{ EVENRUNG_PRACTICE_TIMING: 'at-once', EVENRUNG_PRACTICE_PICTURE: 'full' },
    // Pictures are judged, as they are for everybody.
    EVENRUNG_LIGHT: '',
  });
  await fireSets(panel, { name: '', width: 1280, height: 800, colorScheme: 'light', hasTouch: false });
});
afterAll(async () => {
  await writeFile(path.join(INTO, 'index.html'), page());
  await panel?.end();
});

describe.each(views)('$name', ({ name, look, size }) => {
  it.each(SCREENS.filter((screen) => wanted.split(',').some((part) => screen.name.includes(part))))(
    '$name',
    async (screen) => {
      const shown = await openScreen(panel, screen, size, look);
      await shown.screenshot({ path: path.join(INTO, `${screen.name}-${name}.png`), fullPage: true });
      await panel.closePages();
    },
  );
});

function page(): string {
  const rows = SCREENS.map(
    (screen) =>
      `<h2>${screen.name}</h2>${views.map((view) => `<img loading="lazy" height="600" src="${screen.name}-${view.name}.png" alt="${view.name}">`).join(' ')}`,
  );
  return `<!doctype html><meta charset="utf-8"><title>Every screen</title>${rows.join('\n')}\n`;
}
