// The link to what the notes say about an error. It opens in another tab, so that the panel keeps the
// request.
import type { ErrorCode } from '../../../shared/error-codes.js';
import { PAGES, pageAddress } from '../../../shared/pages.js';
import type { Refusal } from '../api.js';
import { text } from '../text.js';

const isOfCatalogue = (code: string): code is ErrorCode => Object.hasOwn(PAGES, code);

/** Nothing if the notes have no section: the panel has codes of its own. */
export function More({ about }: { readonly about: string | null }) {
  if (about === null || !isOfCatalogue(about)) return null;
  return (
    <a class="more" href={`/notes/${pageAddress(about)}`} target="_blank" rel="noopener">
      {text.more}
    </a>
  );
}

/** The way to the page of the notes on this part of the panel. */
export function PageOn({ page }: { readonly page: keyof typeof text.pagesOn }) {
  return (
    <a class="more" href={`/notes/hardware-notes/${page}.md`} target="_blank" rel="noopener">
      {text.pagesOn[page]}
    </a>
  );
}

/** Why something that was asked for is not done; nothing if it is. */
export function Refused({ refusal }: { readonly refusal: Refusal | null }) {
  if (refusal === null) return null;
  return (
    <div class="refusal" role="alert" data-code={refusal.code}>
      <p>{text.said(refusal.message)}</p>
      <More about={refusal.code} />
    </div>
  );
}
