// The daemon over HTTP and WebSocket.
export { codeAsText } from './access/index.js';
export { type RunningNetwork, type RunningServer, type ServerOptions, startServer } from './server.js';
