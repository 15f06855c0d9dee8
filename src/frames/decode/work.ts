// The work of the process that decodes pictures, question by question.
import type { Asked, Work } from './protocol.js';
import { pixelsOf, sizeOf, smallCopyOf, uprightOf } from './small-copy.js';

/** @throws EvenrungError, or Error, as each of them does */
export async function workOn(asked: Asked): Promise<Work[keyof Work]> {
  switch (asked.ask) {
    case 'ready':
      await import('sharp');
      return null;
    case 'small':
      return smallCopyOf(asked.source, asked.turn);
    case 'size':
      return sizeOf(asked.source);
    case 'upright':
      return uprightOf(asked.jpeg, asked.turn);
    case 'pixels':
      return pixelsOf(asked.jpeg);
    case 'sheet': {
      // It brings much along that no frame needs.
      const { drawContactSheet } = await import('../hand-over/contact-sheet.js');
      return drawContactSheet(asked.sheet);
    }
    default:
      throw new Error('This process does no such work.');
  }
}
