// Builds the panel, and the page that the daemon puts its notes into. Their files must need nothing but this server: no inline
// scripts, no data URLs, no other hosts, so that the strictest content policy fits.
import { fileURLToPath } from 'node:url';
import { defineConfig } from 'vite';

const here = (relative: string) => fileURLToPath(new URL(relative, import.meta.url));

export default defineConfig({
  root: here('.'),
  base: '/',
  publicDir: false,
  build: {
    outDir: here('../dist/web'),
    emptyOutDir: true,
    assetsInlineLimit: 0,
    modulePreload: { polyfill: false },
    target: 'es2022',
    rolldownOptions: { input: [here('index.html'), here('notes.html')] },
  },
});
