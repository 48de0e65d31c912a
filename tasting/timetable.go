package tasting

import (
	"fmt"

	"trivet/fault"
)

// Pace is how fast a session runs. Zero values take the defaults of
// DefaultPace.
type Pace struct {
	SampleSeconds  float64 // to taste one sample
	CleanseSeconds float64 // water and cracker between samples
	SetSeconds     float64 // rest between an assessor's sets
	CarveMinutes   float64 // to carve and plate a wave
	AtOnce         int     // assessors seated together
	HoldMinutes    float64 // from the knife to the mouth; 0: not limited
}

// DefaultPace is common practice, no source: 30 s a sample, 45 s of water and
// plain cracker between samples, 3 minutes between sets, longer for chilli,
// fat and bitterness.
func DefaultPace() Pace {
	return Pace{SampleSeconds: 30, CleanseSeconds: 45, SetSeconds: 180, CarveMinutes: 5, AtOnce: 1}
}

// Timetable is when each wave is cut and each tray goes out, in minutes from
// the first cut.
type Timetable struct {
	Waves   []WaveTime   `json:"waves"`
	Minutes float64      `json:"minutes"` // until the last tray is done
	Notes   []fault.Note `json:"notes,omitempty"`
}

// WaveTime is one wave.
type WaveTime struct {
	Wave     int        `json:"wave"`
	CutAt    float64    `json:"cut_at"`
	ServeBy  *float64   `json:"serve_by"` // null: not limited
	Trays    []TrayTime `json:"trays"`
	LastDone float64    `json:"last_done"`
}

// TrayTime is one tray.
type TrayTime struct {
	Tray    int     `json:"tray"`
	OutAt   float64 `json:"out_at"`
	TooLate bool    `json:"too_late,omitempty"` // its last sample is eaten after the wave's serve-by
}

// Schedule lays the trays of a server sheet out in time, in tray order, AtOnce
// at a time. Trays whose last sample would be eaten past the holding limit
// are marked, and a note counts them.
func Schedule(sheet ServerSheet, p Pace) (*Timetable, error) {
	d := DefaultPace()
	for _, v := range []struct{ set, def *float64 }{{&p.SampleSeconds, &d.SampleSeconds}, {&p.CleanseSeconds, &d.CleanseSeconds}, {&p.SetSeconds, &d.SetSeconds}, {&p.CarveMinutes, &d.CarveMinutes}} {
		if *v.set < 0 {
			return nil, fault.New("pace-range", "a time is negative").WithFix("give times of at least 0")
		}
		if *v.set == 0 {
			*v.set = *v.def
		}
	}
	p.AtOnce = max(1, p.AtOnce)
	out := &Timetable{}
	now, late, seated := 0.0, 0, 0
	for i, t := range sheet.Trays {
		if i == 0 || t.Wave != sheet.Trays[i-1].Wave {
			w := WaveTime{Wave: t.Wave, CutAt: now}
			if p.HoldMinutes > 0 {
				by := now + p.HoldMinutes
				w.ServeBy = &by
			}
			out.Waves = append(out.Waves, w)
			now += p.CarveMinutes
			seated = 0
		}
		w := &out.Waves[len(out.Waves)-1]
		cups := len(t.Codes)
		if t.Reference {
			cups++
		}
		eating := (float64(cups)*p.SampleSeconds + float64(cups-1)*p.CleanseSeconds) / 60
		tray := TrayTime{Tray: t.Tray, OutAt: now}
		if w.ServeBy != nil && now+eating > *w.ServeBy {
			tray.TooLate = true
			late++
		}
		w.Trays = append(w.Trays, tray)
		w.LastDone = now + eating
		out.Minutes = w.LastDone
		last := i == len(sheet.Trays)-1 || sheet.Trays[i+1].Wave != t.Wave
		if seated++; seated == p.AtOnce || last {
			now, seated = now+eating+p.SetSeconds/60, 0
		}
	}
	if late > 0 {
		out.Notes = append(out.Notes, fault.Notef("too-late", "%d trays would be eaten after the holding limit of %g minutes: cut smaller waves or seat more assessors at once", late, p.HoldMinutes))
	}
	if n := setsForOne(sheet); n > 4 {
		out.Notes = append(out.Notes, fault.Notef("fatigue", "%d sets for one assessor in a session: more than four tire the palate, fewer for fat, heat or bitterness (common practice, no source)", n))
	}
	out.Notes = append(out.Notes, fault.Notef("cleanse", "%s", fmt.Sprintf("water and plain cracker before the first sample and for %g s between samples", p.CleanseSeconds)))
	return out, nil
}

func setsForOne(sheet ServerSheet) int {
	count := map[string]int{}
	most := 0
	for _, t := range sheet.Trays {
		count[t.Assessor]++
		most = max(most, count[t.Assessor])
	}
	return most
}
