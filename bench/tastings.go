package bench

import (
	"context"

	"trivet/study"
)

// TastingSession is a tasting as it is run. While it is open, the key that
// tells which code is which treatment is here only encrypted; the notebook
// can neither read it nor check it against the commitment.
type TastingSession struct {
	ID         string // random, never in order of time
	Tasting    string // name of the tasting within the study
	Closed     bool
	Commitment string // SHA-256(salt ‖ key), hex: in view from the start
	LockedKey  []byte // encrypted to the lead's passphrase
	Body       []byte // JSON: what may be in view
	Revealed   []byte // JSON: seed, salt and key; empty until it is closed
}

// Ballot is what one assessor answered, under a pseudonym.
type Ballot struct {
	ID       string // random
	Assessor string
	Body     []byte // JSON
}

// TastingStore keeps tasting sessions and their ballots. When a call that
// writes returns nil, what it wrote is on disk. Errors are *fault.Error:
// "session-unknown", "session-closed" for a ballot after closing,
// "id-conflict" for a known id with different content.
type TastingStore interface {
	Reader
	// OpenSession adds a session; the same one again changes nothing.
	OpenSession(ctx context.Context, studyID string, s TastingSession, events ...study.Event) error
	// CloseSession ends a session and keeps what is revealed of its key.
	CloseSession(ctx context.Context, studyID, id string, revealed []byte, events ...study.Event) error
	// AddBallot keeps an answer of an open session; the same ballot again
	// changes nothing.
	AddBallot(ctx context.Context, studyID, session string, b Ballot, events ...study.Event) error
	// WithdrawBallot deletes an answer; the history keeps that there was one.
	WithdrawBallot(ctx context.Context, studyID, session, id string, events ...study.Event) error
	Sessions(ctx context.Context, studyID string) ([]TastingSession, error)
	// Ballots reads the ballots of a session in the order of their random
	// ids: the order in which people answered is not kept.
	Ballots(ctx context.Context, studyID, session string) ([]Ballot, error)
	AppendEvents(ctx context.Context, studyID string, events ...study.Event) error
}

// Kinds of history entry of a tasting. None of them holds an answer: an
// answer's entry is a salted commitment, so that the answer can be deleted.
const (
	EventTastingOpened    study.EventKind = "tasting-opened"
	EventTastingAnswered  study.EventKind = "tasting-answered"
	EventTastingRefused   study.EventKind = "tasting-refused"
	EventTastingWithdrawn study.EventKind = "tasting-withdrawn"
	EventTastingDeviated  study.EventKind = "tasting-deviated"
	EventTastingClosed    study.EventKind = "tasting-closed"
)
