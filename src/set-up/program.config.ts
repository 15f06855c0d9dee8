// Bundles the program: the daemon with its commands, the camera process, the processes that decode pictures and judge them, and what the build itself runs once to draw the practice scene. One file loads several times faster
// than the hundreds that the libraries come in, and the daemon is to be ready at once. What is native, loads files
// of its own, or is loaded late stays outside.
import { fileURLToPath } from 'node:url';
import { defineConfig } from 'vite';

const root = (relative: string) => fileURLToPath(new URL(`../../${relative}`, import.meta.url));

export default defineConfig({
  root: root('src'),
  publicDir: false,
  ssr: {
    noExternal: true,
    external: [
      'sharp',
      'gphoto2',
      'koffi',
      'exifreader',
      'file-type',
      'pino',
      'pino-pretty',
      'better-sqlite3',
      'exiftool-vendored',
      '@techstark/opencv-js',
    ],
  },
  build: {
    ssr: true,
    target: 'node20',
    outDir: root('dist/program'),
    emptyOutDir: true,
    sourcemap: true,
    minify: false,
    rolldownOptions: {
      input: {
        main: root('src/main.ts'),
        'camera-process': root('src/camera/process/camera-process.ts'),
        'light-process': root('src/light/process/light-process.ts'),
        'picture-process': root('src/frames/decode/picture-process.ts'),
        'draw-scene': root('src/camera/practice/draw-scene.ts'),
      },
      output: { entryFileNames: '[name].js', chunkFileNames: '[name]-[hash].js' },
    },
  },
});
