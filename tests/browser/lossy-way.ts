// The way between a phone and the daemon, over which the network can be lost: silently, as when somebody walks out of its reach, or with a
// hang-up. On loopback alone.
import net from 'node:net';

export interface LossyWay {
  readonly port: number;
  /** From now on nothing comes through, and nobody is told. */
  lose(): void;
  /** From now on connections are refused, and those there are are hung up on. */
  hangUp(): void;
  /** New connections come through again. */
  comeBack(): void;
  close(): Promise<void>;
}

/** @param port that it leads to */
export async function lossyWay(port: number): Promise<LossyWay> {
  const open = new Set<net.Socket>();
  let is: 'there' | 'silent' | 'refusing' = 'there';
  const server = net.createServer((near) => {
    if (is === 'refusing') {
      near.resetAndDestroy();
      return;
    }
    open.add(near);
    near.on('error', () => undefined);
    near.on('close', () => open.delete(near));
    // Taken, and never answered: as a handshake whose packets are lost.
    if (is === 'silent') return;
    const far = net.connect(port, '127.0.0.1');
    open.add(far);
    far.on('error', () => near.destroy());
    far.on('close', () => {
      open.delete(far);
      near.destroy();
    });
    near.on('close', () => far.destroy());
    near.pipe(far);
    far.pipe(near);
  });
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
  return {
    port: (server.address() as net.AddressInfo).port,
    lose() {
      is = 'silent';
      for (const socket of open) {
        socket.unpipe();
        socket.pause();
      }
    },
    hangUp() {
      is = 'refusing';
      for (const socket of open) socket.resetAndDestroy();
    },
    comeBack() {
      is = 'there';
      // What was lost meanwhile does not come after all.
      for (const socket of open) if (socket.isPaused()) socket.destroy();
    },
    close() {
      for (const socket of open) socket.destroy();
      return new Promise((resolve) => server.close(() => resolve()));
    },
  };
}
