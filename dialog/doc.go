// Package dialog decides what the line says and when. It is one pure function,
// Engine.Step: a state, an event and what is known of the world go in; a turn
// comes out, with the new state, the replies and what the world has to do.
//
// A conversation goes like this. A stranger texts
//
//	cobs 2 drums snaps
//
// Step reads the text into tokens and spans (read.go, match.go), finds no
// emergency (emergency.go), no opt-out and no word of command (command.go), and
// lets the topics look at it. The recipe (recipe.go) finds its slots filled:
// the waste, two drums, dry. It asks package calc for the batch and answers in
// three messages. The frame of the recipe stays on the stack, so that
//
//	no, 3 drums
//
// changes one slot and answers anew. An emergency in between leaves the frame
// untouched; the next text goes on where the person was.
//
// Nothing here reads a clock, a file or a socket, and no map iteration reaches
// a reply: the same arguments give the same turn.
package dialog
