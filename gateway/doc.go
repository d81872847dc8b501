// Package gateway carries a turn from the world and back.
//
// A text arrives as an Inbound, a timer as an Alarm. The Service loads the
// conversation, lets dialog.Engine.Step decide, renders the replies and hands
// one Change to the store: the new state, the messages to send, the timers to
// set, the journal line and the mark "this is answered" become durable whole or
// not at all. What follows a commit, sending and ringing, are loops that may run
// twice without harm, because every id is made from its cause.
//
// The package imports no transport and no database: webhook and outbox bring
// messages in and out, boltstore keeps them.
package gateway
