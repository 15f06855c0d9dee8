// The daemon over HTTP and WebSocket.
export { type RunningServer, type ServerOptions, startServer } from './server.js';
