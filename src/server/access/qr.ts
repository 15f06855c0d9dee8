// An address as a code that a phone's camera reads. Pure; the library that draws it is loaded only when
// needed.

/** @returns SVG: dark on white with its margin, whatever the page around it looks like */
export async function codeAsPicture(address: string): Promise<string> {
  const { default: qrcode } = await import('qrcode');
  return qrcode.toString(address, {
    type: 'svg',
    errorCorrectionLevel: 'M',
    margin: 4,
    color: { dark: '#000000', light: '#ffffff' },
  });
}

/** @param colours whether the terminal's colours may be set; if not, the code is drawn in the present ones */
export async function codeAsText(address: string, colours: boolean): Promise<string> {
  const { default: qrcode } = await import('qrcode');
  const lines = await qrcode.toString(address, {
    type: 'utf8',
    errorCorrectionLevel: 'L',
    margin: 2,
    // On most terminals blocks are light, so they stand for the light parts of the code.
    color: { dark: '#ffffff', light: '#000000' },
  });
  if (!colours) return lines;
  const [whiteOnBlack, asBefore] = ['\u001b[97;40m', '\u001b[0m'];
  return lines
    .split('\n')
    .map((line) => (line === '' ? line : `${whiteOnBlack}${line}${asBefore}`))
    .join('\n');
}
