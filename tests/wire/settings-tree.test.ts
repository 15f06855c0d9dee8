// The settings tree comes from a body and through native code: whatever is in it, reading it must not fail.
import { expect, test } from 'vitest';
import { flattenTree } from '../../src/camera/library/settings-tree.js';

const tree = (sections: Record<string, Record<string, unknown>>) => ({
  main: {
    type: 'window',
    label: 'all',
    children: Object.fromEntries(
      Object.entries(sections).map(([name, children]) => [name, { type: 'window', label: name, children }]),
    ),
  },
});

test('every kind of setting is found under its bare name', () => {
  const settings = flattenTree(
    tree({
      capturesettings: {
        shutterspeed: { label: 'Shutter', type: 'choice', value: '1/60', choices: ['1/30', '1/60'] },
        focus: { label: 'Focus', type: 'range', value: Math.fround(0.3), min: 0, max: 1, step: 0.1 },
      },
      settings: {
        ownername: { label: 'Owner', type: 'string', value: 'someone' },
        datetime: { label: 'Clock', type: 'date', value: new Date(0) },
      },
      actions: {
        lights: { label: 'Lights', type: 'toggle', value: 1 },
        door: { label: 'Door', type: 'toggle', value: 0 },
        ring: { label: 'Ring', type: 'toggle', value: 2 },
        press: { label: 'Press', type: 'button' },
      },
    }),
  );
  expect([...settings.values()].map(({ name, kind, value }) => `${name} ${kind} ${value}`)).toEqual([
    'lights toggle on',
    'door toggle off',
    'ring toggle off',
    'ownername text someone',
    'datetime date 1970-01-01T00:00:00.000Z',
    'shutterspeed choice 1/60',
    'focus range 0.3',
  ]);
  expect(settings.get('shutterspeed')?.choices).toEqual(['1/30', '1/60']);
  expect(settings.get('ring')?.readsBack).toBe(false);
  expect(settings.get('door')?.readsBack).toBe(true);
});

test('of two settings with one name the one is kept that a write by name would reach', () => {
  const mode = (value: string) => ({ mode: { label: 'Mode', type: 'string', value } });
  const settings = flattenTree(tree({ capturesettings: mode('later'), settings: mode('first') }));
  expect(settings.get('mode')?.value).toBe('first');
});

test('odd and enormous trees do no harm', () => {
  const holes = ['on', undefined, 3, null, {}];
  const many = Array.from({ length: 70_000 }, (_, index) => String(index));
  const settings = flattenTree(
    tree({
      other: {
        gaps: { type: 'choice', value: undefined, choices: holes },
        none: { type: 'choice', value: 'x' },
        empty: { type: 'choice', value: '', choices: [] },
        many: { type: 'choice', value: '5', choices: many },
        number: { type: 'string', value: 7 },
        broken: { type: 'date', value: new Date(Number.NaN) },
        endless: { type: 'range', value: Number.POSITIVE_INFINITY },
        unread: { type: undefined, label: 'failed' },
        bare: null,
        word: 'word',
      },
      bare: {},
    }),
  );
  expect(settings.get('gaps')).toMatchObject({ value: '', choices: ['on', '3'] });
  expect(settings.get('none')?.choices).toEqual([]);
  expect(settings.get('empty')).toMatchObject({ value: '', choices: [] });
  expect(settings.get('many')?.choices).toHaveLength(70_000);
  expect(settings.get('number')?.value).toBe('7');
  expect(settings.get('broken')?.value).toBe('');
  expect(settings.get('endless')?.value).toBe('');
  expect(settings.has('unread')).toBe(false);
  for (const nothing of [undefined, null, 'x', 5, {}, { main: null }]) {
    expect(flattenTree(nothing).size).toBe(0);
  }
});
