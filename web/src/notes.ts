// On a page of the notes: it looks as the panel does, and goes on doing so.
import './light.js';
