// From the Markdown of a note to a page. Pure: text in, text out. HTML within a note is shown as text, and a
// link that leads nowhere becomes plain text. A drawing becomes part of its page, so that it takes on the
// page's colours; of any other image, only its alternative text is shown.
import { Marked, Renderer, type Tokens } from 'marked';
import { anchorOf } from '../../shared/pages.js';

export interface Where {
  /** The path of this page on the daemon, which its links are relative to. */
  readonly address: string;
  /** @returns whether there is a page at this path of the daemon */
  readonly isPage: (address: string) => boolean;
  /** @returns the SVG at this path of the daemon, if there is a drawing */
  readonly drawingAt: (address: string) => string | undefined;
}

export interface Note {
  readonly title: string;
  readonly html: string;
}

const BASE = 'http://notes.invalid';
const ESCAPES: Readonly<Record<string, string>> = {
  '&': '&amp;',
  '<': '&lt;',
  '>': '&gt;',
  '"': '&quot;',
  "'": '&#39;',
};

const escaped = (text: string): string => text.replace(/[&<>"']/g, (sign) => ESCAPES[sign] ?? sign);

export function rendered(source: string, where: Where): Note {
  const renderer = new NoteRenderer(where);
  const title = /^# (.+)$/m.exec(source)?.[1] ?? 'Notes';
  return { title, html: new Marked().parse(source, { async: false, renderer }) };
}

/** @param frame a page with {{title}} and {{note}} in it */
export function framed(frame: string, { title, html }: Note): string {
  return frame.replace('{{title}}', () => escaped(title)).replace('{{note}}', () => html);
}

class NoteRenderer extends Renderer {
  private readonly where: Where;

  constructor(where: Where) {
    super();
    this.where = where;
  }

  override heading({ tokens, depth, text }: Tokens.Heading): string {
    return `<h${depth} id="${escaped(anchorOf(text))}">${this.parser.parseInline(tokens)}</h${depth}>\n`;
  }

  /** A table may be wider than a phone; then it scrolls by itself. */
  override table(token: Tokens.Table): string {
    return `<div class="wide">${super.table(token)}</div>\n`;
  }

  override link({ href, tokens }: Tokens.Link): string {
    const words = this.parser.parseInline(tokens);
    const target = this.targetOf(href);
    if (target === null) return words;
    if (target.origin === BASE) {
      const isThere = this.where.isPage(target.pathname) || this.where.isPage(`${target.pathname}README.md`);
      return isThere ? `<a href="${escaped(`${target.pathname}${target.hash}`)}">${words}</a>` : words;
    }
    return target.protocol === 'http:' || target.protocol === 'https:'
      ? `<a href="${escaped(target.href)}" rel="noreferrer">${words}</a>`
      : words;
  }

  override html({ text }: Tokens.HTML | Tokens.Tag): string {
    return escaped(text);
  }

  override image({ href, text }: Tokens.Image): string {
    const target = this.targetOf(href);
    const drawing = target?.origin === BASE ? this.where.drawingAt(target.pathname) : undefined;
    if (drawing === undefined) return escaped(text);
    const named = drawing.replace(/^<svg /, `<svg role="img" aria-label="${escaped(text)}" `);
    return `<span class="drawing">${named.trim()}</span>`;
  }

  private targetOf(href: string): URL | null {
    const from = `${BASE}${this.where.address}`;
    return URL.canParse(href, from) ? new URL(href, from) : null;
  }
}
