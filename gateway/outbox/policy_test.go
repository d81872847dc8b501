package outbox

import (
	"errors"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"cobline/dialog"
	"cobline/gateway"
)

var (
	nairobi = time.FixedZone("EAT", 3*60*60)
	policy  = Policy{
		Quiet: gateway.Quiet{From: gateway.Clock{Hour: 20, Minute: 30}, To: gateway.Clock{Hour: 6}},
		Zone:  func(string) *time.Location { return nairobi },
	}
)

func at(hour, minute int) time.Time { return time.Date(2026, 3, 2, hour, minute, 0, 0, nairobi) }

func message(u dialog.Urgency, expires time.Time) gateway.Outbound {
	return gateway.Outbound{Ref: "R", Urgency: u, Expires: expires, Key: "burn.hold", Segments: 1}
}

// TestC28BeforeAnAttempt decides who may be sent when. Only reminders and
// bulletins keep the quiet hours, in the person's own zone.
func TestC28BeforeAnAttempt(t *testing.T) {
	tomorrow := at(30, 0)
	for _, tc := range []struct {
		name    string
		urgency dialog.Urgency
		now     time.Time
		expires time.Time
		send    bool
		outcome gateway.Outcome
		until   time.Time
		lapse   dialog.Why
	}{
		{"an answer at night", dialog.Answer, at(23, 0), tomorrow, true, 0, time.Time{}, 0},
		{"a caution at night", dialog.Safety, at(23, 0), tomorrow, true, 0, time.Time{}, 0},
		{"first aid at night", dialog.Emergency, at(3, 0), tomorrow, true, 0, time.Time{}, 0},
		{"a reminder by day", dialog.Reminder, at(12, 0), tomorrow, true, 0, time.Time{}, 0},
		{"a reminder in the evening", dialog.Reminder, at(20, 30), at(31, 0), false, gateway.Later, at(30, 0), 0},
		{"a reminder before dawn", dialog.Reminder, at(5, 59), tomorrow, false, gateway.Later, at(6, 0), 0},
		{"a bulletin that would not live to see the morning", dialog.Bulletin, at(23, 0), at(29, 0), false, gateway.Dropped, time.Time{}, 0},
		{"an answer too late", dialog.Answer, at(12, 0), at(12, 0), false, gateway.Dropped, time.Time{}, 0},
		{"a caution too late brings the safe text", dialog.Safety, at(12, 1), at(12, 0), false, gateway.Dropped, time.Time{}, dialog.Expired},
		{"a reminder too late is simply dropped", dialog.Reminder, at(12, 1), at(12, 0), false, gateway.Dropped, time.Time{}, 0},
	} {
		t.Run(tc.name, func(t *testing.T) {
			s, send := policy.Before(message(tc.urgency, tc.expires), tc.now, gateway.Spent{})
			require.Equal(t, tc.send, send)
			require.Equal(t, tc.outcome, s.Outcome)
			require.True(t, tc.until.Equal(s.Until), "until %s", s.Until)
			require.Equal(t, tc.lapse, s.Lapse)
			require.False(t, s.Failed)
		})
	}
}

// TestC28Caps: what a cap keeps back waits for the morning after it begins anew,
// or is dropped if that is too late. First aid and what looks after a fire are
// sent from what is held, and beyond it.
func TestC28Caps(t *testing.T) {
	p := policy
	p.Tariff = gateway.Tariff{Day: gateway.Spend{Segments: 100}, Warn: 0.8, Reserve: 0.1, Zone: nairobi}
	morning := at(30, 0)
	for _, tc := range []struct {
		name    string
		urgency dialog.Urgency
		burn    bool
		spent   int
		expires time.Time
		send    bool
		outcome gateway.Outcome
	}{
		{"the last ordinary one", dialog.Answer, false, 89, at(40, 0), true, 0},
		{"an answer", dialog.Answer, false, 90, at(40, 0), false, gateway.Later},
		{"a reminder", dialog.Reminder, false, 90, at(40, 0), false, gateway.Later},
		{"a bulletin that is stale by then", dialog.Bulletin, false, 90, at(29, 0), false, gateway.Dropped},
		{"an answer to one who burns", dialog.Answer, true, 99, at(40, 0), true, 0},
		{"beyond the reserve too", dialog.Reminder, true, 500, at(40, 0), true, 0},
		{"a caution", dialog.Safety, false, 500, at(40, 0), true, 0},
		{"first aid", dialog.Emergency, false, 500, at(40, 0), true, 0},
	} {
		t.Run(tc.name, func(t *testing.T) {
			m := message(tc.urgency, tc.expires)
			m.Burn = tc.burn
			s, send := p.Before(m, at(12, 0), gateway.Spent{Day: gateway.Spend{Segments: tc.spent}})
			require.Equal(t, tc.send, send)
			require.Equal(t, tc.outcome, s.Outcome)
			if !send {
				require.Equal(t, whyCap, s.Why)
				require.False(t, s.Failed)
			}
			if tc.outcome == gateway.Later {
				require.True(t, morning.Equal(s.Until), "until %s: nobody is woken at midnight", s.Until)
			}
		})
	}
	may := message(dialog.Reminder, at(40, 0))
	may.Burn = true
	_, send := p.Before(may, at(23, 0), gateway.Spent{})
	require.True(t, send, "a burn passes quiet hours")
}

type throttled struct {
	error
	wait time.Duration
}

func (t throttled) RetryAfter() time.Duration { return t.wait }

// TestC28AfterAnAttempt decides what becomes of a message. A fate that is not
// known is a bulletin's last; everything else is sent again.
func TestC28AfterAnAttempt(t *testing.T) {
	now, far := at(12, 0), at(40, 0)
	unsure := fmt.Errorf("post: %w", gateway.ErrUnsure)
	for _, tc := range []struct {
		name    string
		message gateway.Outbound
		err     error
		outcome gateway.Outcome
		wait    time.Duration
		lapse   dialog.Why
	}{
		{"taken", message(dialog.Answer, far), nil, gateway.Sent, 0, 0},
		{"refused", message(dialog.Answer, far), gateway.Refused{Reason: "no such number"}, gateway.Dropped, 0, 0},
		{"a caution refused", message(dialog.Safety, far), gateway.Refused{}, gateway.Dropped, 0, dialog.Refused},
		{"a bulletin of unknown fate", message(dialog.Bulletin, far), unsure, gateway.Unknown, 0, 0},
		{"a caution of unknown fate", message(dialog.Safety, far), unsure, gateway.Later, sendAgain, 0},
		{"throttled", message(dialog.Answer, far), throttled{errors.New("slow down"), 90 * time.Second}, gateway.Later, 90 * time.Second, 0},
		{"throttled for a day", message(dialog.Emergency, far), throttled{errors.New("tomorrow"), 24 * time.Hour}, gateway.Later, 15 * time.Minute, 0},
		{"blocked", message(dialog.Answer, far), gateway.Blocked{Reason: "no credit"}, gateway.Later, 2 * time.Second, 0},
		{"failed", message(dialog.Answer, far), errors.New("refused connection"), gateway.Later, 2 * time.Second, 0},
		{"failed and too late to try again", message(dialog.Safety, now.Add(time.Second)), errors.New("down"), gateway.Dropped, 0, dialog.Expired},
	} {
		t.Run(tc.name, func(t *testing.T) {
			s := policy.After(tc.message, tc.err, now, 0)
			require.Equal(t, tc.outcome, s.Outcome)
			require.Equal(t, tc.lapse, s.Lapse)
			require.Equal(t, now, s.At)
			if tc.outcome == gateway.Later {
				require.Equal(t, now.Add(tc.wait), s.Until)
				require.True(t, s.Failed)
			}
		})
	}
}

// TestC28BulletinLeftBehind: what the line was sending when it ended is not sent
// again, unless the gateway knows its reference again.
func TestC28BulletinLeftBehind(t *testing.T) {
	left := message(dialog.Bulletin, at(40, 0))
	left.Trying = true
	s, send := policy.Before(left, at(12, 0), gateway.Spent{})
	require.False(t, send)
	require.Equal(t, gateway.Settlement{Outcome: gateway.Unknown, At: at(12, 0), Why: gateway.WhyCrash}, s)
	knows := policy
	knows.Idempotent = true
	_, send = knows.Before(left, at(12, 0), gateway.Spent{})
	require.True(t, send)
	require.Equal(t, gateway.Later, knows.After(left, gateway.ErrUnsure, at(12, 0), 0).Outcome)
}

// TestBackOff waits longer after every failure, up to a quarter of an hour, with
// a spread.
func TestBackOff(t *testing.T) {
	m, now := message(dialog.Answer, at(100, 0)), at(12, 0)
	last := time.Duration(0)
	for m.Tries = range 12 {
		least := policy.After(m, errors.New("down"), now, 0).Until.Sub(now)
		most := policy.After(m, errors.New("down"), now, 1).Until.Sub(now)
		require.GreaterOrEqual(t, least, last)
		require.Equal(t, least*3/2, most)
		last = least
	}
	require.Equal(t, 15*time.Minute, last)
}
