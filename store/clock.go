package store

import (
	"database/sql"
	"errors"

	"trivet/study"
)

const clockColumns = `id, clock, to_clock, anchor_us, offset_us, rate, elapsed, method, points, rms_us, worst_us, mid_us, offset_u_us, rate_u, note, by, at, undone_by, undone_at`

func (c *change) insertClock(cook string, seq int, f study.ClockFix) error {
	_, err := c.exec(`INSERT INTO clock_fix (cook, seq, `+clockColumns+`) VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?)`,
		cook, seq, f.ID, f.Clock, f.To, f.AnchorUS, f.OffsetUS, f.Rate, f.Elapsed, f.Method, f.Points, f.RMSUS, f.WorstUS,
		f.MidUS, f.OffsetUUS, f.RateU, f.Note, f.By, formatTime(f.At.Round(0)), f.UndoneBy, formatTime(f.UndoneAt.Round(0)))
	return err
}

func readClocks(q *query, cooks []study.Cook, where, arg string) error {
	var at, undone string
	return readPart(q, cooks, where, arg, "p."+clockColumns, "clock_fix",
		func(r *sql.Rows, cook *sql.RawBytes, f *study.ClockFix) error {
			if err := r.Scan(cook, &f.ID, &f.Clock, &f.To, &f.AnchorUS, &f.OffsetUS, &f.Rate, &f.Elapsed, &f.Method, &f.Points,
				&f.RMSUS, &f.WorstUS, &f.MidUS, &f.OffsetUUS, &f.RateU, &f.Note, &f.By, &at, &f.UndoneBy, &undone); err != nil {
				return err
			}
			var errAt, errUndone error
			f.At, errAt = parseTime(at)
			f.UndoneAt, errUndone = parseTime(undone)
			return errors.Join(errAt, errUndone)
		},
		func(k *study.Cook) *[]study.ClockFix { return &k.Clocks })
}
