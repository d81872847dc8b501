package gateway

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"cobline/dialog"
	"cobline/gateway/sms"
	"cobline/locales"
)

// ErrOptedOut says that a person left the line and wants nothing from it.
var ErrOptedOut = errors.New("opted out")

// act takes what an officer did into a conversation. Decide makes the event of it,
// or refuses; the entry is what the journal keeps.
func (s *Service) act(ctx context.Context, n Number, now time.Time, e Entry, decide func(Conversation) (dialog.Event, error)) (change Change, err error) {
	now = s.options.Watch.At(now)
	defer s.lock(n)()
	err = retry(func() error {
		c, err := s.turns.Load(ctx, n)
		if err != nil {
			return err
		}
		ev, err := decide(c)
		if err != nil {
			return err
		}
		line := e
		line.At, line.Channel = now, s.writes(c.Channel)
		t, documents, err := s.decide(ctx, c, line.Channel, now, ev)
		if err != nil {
			return err
		}
		change = s.change(c, t, &line, none)
		change.Documents = documents
		return s.commit(ctx, change)
	})
	return change, err
}

// ofMet takes an event into a conversation that has begun.
func ofMet(ev dialog.Event) func(Conversation) (dialog.Event, error) {
	return func(c Conversation) (dialog.Event, error) {
		if c.Rev == 0 {
			return nil, ErrNotFound
		}
		return ev, nil
	}
}

// Enrolment is what became of a person whom an officer entered.
type Enrolment uint8

// What can become of them.
const (
	Greeted   Enrolment = 1 // a first message says who writes, why, and how to be left alone
	Known     Enrolment = 2 // the line knows the number; what it knew of the person is replaced
	Unreached Enrolment = 3 // no channel can write to them: they are greeted when they write
)

// String returns the enrolment in lower case.
func (e Enrolment) String() string { return name(e, "greeted", "known", "unreached") }

// Enrol takes in what an officer knows of a person. A number never met is told who
// writes and why, and needs a consent. Of one that opted out nothing is kept: the
// error is ErrOptedOut.
func (s *Service) Enrol(ctx context.Context, n Number, p dialog.Profile, by string, now time.Time) (Enrolment, error) {
	change, err := s.act(ctx, n, now, Entry{Kind: Enrolled, By: by}, func(c Conversation) (dialog.Event, error) {
		switch {
		case c.State.Stopped:
			return nil, ErrOptedOut
		case c.Rev == 0 && strings.TrimSpace(p.Consent) == "":
			return nil, errors.New("how consent was given is missing: a form, a meeting, a list that was signed")
		}
		return dialog.Enrolled{Profile: p}, nil
	})
	switch {
	case err != nil:
		return 0, fmt.Errorf("enrol %v: %w", n, err)
	case len(change.Out) > 0:
		return Greeted, nil
	case len(change.Entry.Replies) > 0:
		return Unreached, nil
	}
	return Known, nil
}

// Greeting returns what the first message takes that Enrol would send to a person
// of a conversation; nothing if it would send none.
func (s *Service) Greeting(c Conversation, p dialog.Profile, now time.Time) (spend Spend, err error) {
	t, err := s.step(c, s.writes(c.Channel), now, dialog.Enrolled{Profile: p})
	if err != nil {
		return spend, fmt.Errorf("greet %v: %w", c.Number, err)
	}
	for _, m := range s.change(c, t, &Entry{At: now}, none).Out {
		spend = spend.Plus(Spend{m.Segments, m.Price})
	}
	return spend, nil
}

// Price returns what messages to the person of a conversation cost; those of a
// zero one go on the main channel.
func (s *Service) Price(c Conversation, segments int) Money {
	return s.options.Channels[s.writes(c.Channel)].Tariff.Price(c.Number, segments)
}

// maxAnswerSegments is how many messages an officer's reply to a person takes.
const maxAnswerSegments = 3

// Answer sends an officer's reply to a person: to the question that came in the
// journal entry about, which may be zero. The error is ErrOptedOut of one who left
// and has not written since, ErrNotFound of a number never met. It waits, and
// says so, if nothing was heard of the number for long: then whoever has it is
// asked first.
func (s *Service) Answer(ctx context.Context, n Number, about Key, text, by string, now time.Time) (waits bool, err error) {
	text = strings.TrimSpace(cleanText(text))
	if text == "" {
		return false, errors.New("the reply is empty")
	}
	if dialog.AsksForDigit(text) {
		return false, errors.New("the reply asks for a digit, which may answer another question; ask for a word")
	}
	e := Entry{Kind: Answered, By: by, About: about, Text: text}
	change, err := s.act(ctx, n, now, e, func(c Conversation) (dialog.Event, error) {
		segments := len(sms.Split(sms.Plain(text, locales.Substitutions(c.State.Lang))).Segments)
		switch {
		case c.Rev == 0:
			return nil, ErrNotFound
		case !c.State.Answerable():
			return nil, ErrOptedOut
		case s.writes(c.Channel) == "":
			return nil, errors.New("no channel can write to this person; phone them")
		case segments > maxAnswerSegments:
			return nil, fmt.Errorf("the reply takes %d messages; %d are the most", segments, maxAnswerSegments)
		}
		return dialog.Answered{Text: text}, nil
	})
	if err != nil {
		return false, fmt.Errorf("reply to %v: %w", n, err)
	}
	return len(change.Conversation.State.Held) > 0, nil
}

// ShowAnswer returns the messages that Answer would send to the person of a
// conversation, as the phone shows them once it is known whose it is.
func (s *Service) ShowAnswer(c Conversation, text string, now time.Time) (texts []string, err error) {
	c.State.Asked, c.State.Seen, c.State.Stranger = time.Time{}, now, 0
	t, err := s.step(c, s.writes(c.Channel), now, dialog.Answered{Text: strings.TrimSpace(cleanText(text))})
	if err != nil {
		return nil, fmt.Errorf("show a reply to %v: %w", c.Number, err)
	}
	for _, m := range s.change(c, t, &Entry{At: now}, none).Out {
		texts = append(texts, m.Text)
	}
	return texts, nil
}

// Called notes that an officer has phoned a person who waits for it: the line no
// longer asks them whether somebody did.
func (s *Service) Called(ctx context.Context, n Number, about Key, by string, now time.Time) error {
	_, err := s.act(ctx, n, now, Entry{Kind: Answered, By: by, About: about, CallBack: true}, ofMet(dialog.Called{}))
	if err != nil {
		return fmt.Errorf("note a call to %v: %w", n, err)
	}
	return nil
}

// Acknowledge notes that an officer has seen a person's emergency: no further duty
// phone is told of it. The error is ErrNotFound if none waits to be seen. The
// person is told nothing: nobody knows yet that anybody comes.
func (s *Service) Acknowledge(ctx context.Context, n Number, about Key, by string, now time.Time) error {
	_, err := s.act(ctx, n, now, Entry{Kind: Acknowledged, By: by, About: about}, func(c Conversation) (dialog.Event, error) {
		if c.State.Alert == nil || c.State.Alert.Seen {
			return nil, ErrNotFound
		}
		return dialog.Acknowledged{AlertID: c.State.Alert.ID}, nil
	})
	if err != nil {
		return fmt.Errorf("acknowledge an emergency of %v: %w", n, err)
	}
	return nil
}

// Forget erases a person as FORGET ME does, on the word of an administrator whom
// they asked. The error is ErrNotFound of a number never met.
func (s *Service) Forget(ctx context.Context, n Number, now time.Time) error {
	if _, err := s.act(ctx, n, now, Entry{Kind: Forgotten}, ofMet(dialog.Forgotten{})); err != nil {
		return fmt.Errorf("forget %v: %w", n, err)
	}
	return nil
}
