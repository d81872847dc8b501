package main

import (
	"context"
	"time"

	"cobline/gateway"
	"cobline/gateway/console"
)

// practicePhone is a phone of the console's practice page.
type practicePhone struct{ *localPhone }

// practice returns what opens phones on lines of their own. They know of the
// world what the running line knows, and none of its people.
func practice(c Config, running *line) func(context.Context, console.PhoneKind, time.Time) (console.Phone, error) {
	return func(ctx context.Context, kind console.PhoneKind, now time.Time) (console.Phone, error) {
		number, err := gateway.ParseNumber(triedNumber, Default().Country)
		if err != nil {
			return nil, err
		}
		channel := channelSMS
		if kind.Dialled {
			channel = channelUSSD
		}
		c.DefaultLang = kind.Lang
		facts := *running.service.Facts()
		if _, ok := facts.Places[kind.Place]; ok {
			facts.Home = kind.Place
		}
		p, err := newLocalPhone(c, "", number, channel, now)
		if err != nil {
			return nil, err
		}
		p.line.service.SetFacts(&facts)
		return practicePhone{p}, nil
	}
}

// Say brings a text to the line.
func (p practicePhone) Say(ctx context.Context, text string) ([]console.PhoneText, error) {
	came, err := p.travel(ctx, p.now())
	if err != nil {
		return nil, err
	}
	said, err := p.say(ctx, text)
	return shownTexts(append(came, said...)), err
}

// Move moves the clock.
func (p practicePhone) Move(ctx context.Context, to time.Time) ([]console.PhoneText, error) {
	came, err := p.travel(ctx, to)
	return shownTexts(came), err
}

// Next returns when the line writes next on its own.
func (p practicePhone) Next(ctx context.Context) (next time.Time, err error) {
	due, err := p.store.DueAlarms(ctx, p.now().AddDate(1, 0, 0), 1)
	if err != nil {
		return next, err
	}
	if len(due) > 0 {
		next = due[0].Due
	}
	if !p.wake.IsZero() && (next.IsZero() || p.wake.Before(next)) {
		next = p.wake
	}
	return next, nil
}

// Now returns what the phone's clock shows.
func (p practicePhone) Now() time.Time { return p.now() }

// Close ends the line of the phone.
func (p practicePhone) Close() error { return p.close() }

func shownTexts(messages []message) (texts []console.PhoneText) {
	for _, m := range messages {
		texts = append(texts, console.PhoneText{Text: m.text, Timed: m.timed})
	}
	return texts
}

var _ console.Phone = practicePhone{}

// triedNumber is the number of a phone on a line of its own.
const triedNumber = "+254700000001"
