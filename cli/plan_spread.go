package cli

import (
	"context"
	"fmt"
	"math"
	"strconv"
	"strings"

	"trivet/answer"
	"trivet/bench"
	"trivet/fault"
	"trivet/heat"
	"trivet/quantity"
	"trivet/study"
)

// spreadOptions say where the scatter of a plan comes from.
type spreadOptions struct {
	sd        []string // "2.6 points", or "loss=2.6 points" for one question
	pilot     string   // a study whose cooks serve as pilot
	published bool
	heat      int // samples of the cook files
}

// spreads finds the scatter of every question on a response.
func (o spreadOptions) spreads(ctx context.Context, env *Env, src *source, rec *bench.Record) (map[string]answer.Spread, error) {
	out := map[string]answer.Spread{}
	stated := map[string]string{}
	for _, s := range o.sd {
		id, text, ok := strings.Cut(s, "=")
		if !ok {
			id, text = "", s
		}
		stated[strings.TrimSpace(id)] = text
	}
	var pilots []answer.CookResult
	pilotFrom, pilotCounts := "", func(c study.Cook) bool { return c.Role == study.Pilot }
	load := func() error {
		if pilots != nil {
			return nil
		}
		from, prec := src, rec
		pilotFrom = "this study's pilot cooks"
		if o.pilot != "" {
			other, err := env.openStudy(ctx, o.pilot)
			if err != nil {
				return err
			}
			defer other.Close()
			if prec, err = other.record(ctx); err != nil {
				return err
			}
			from, pilotFrom = other, o.pilot
			pilotCounts = func(c study.Cook) bool { return c.Role != study.Void }
		}
		var names []string
		for _, q := range rec.Study.Questions {
			if q.Tasting == nil {
				names = append(names, q.Response)
			}
		}
		progress, done := env.progress("measuring pilot cooks")
		defer done()
		var err error
		pilots, err = bench.Measure(ctx, from.reader, prec, progress, names...)
		if pilots == nil {
			pilots = []answer.CookResult{}
		}
		return err
	}
	sampled := map[string]map[string]heat.SampledResponse{} // treatment → response
	for i := range rec.Study.Questions {
		q := &rec.Study.Questions[i]
		if q.Tasting != nil {
			continue
		}
		text, ok := stated[q.ID]
		if !ok {
			text, ok = stated[""]
		}
		switch {
		case ok:
			sd, err := parseSpread(q, text)
			if err != nil {
				return nil, err
			}
			out[q.ID] = answer.Spread{SD: sd, Source: "stated: " + strings.TrimSpace(text)}
		case o.heat > 0:
			s, err := heatSpread(ctx, env, rec, q, o.heat, sampled)
			if err != nil {
				return nil, err
			}
			out[q.ID] = s
		case o.published:
			s, ok := answer.PublishedSpread(q)
			if !ok {
				return nil, fault.New("spread-unknown", "no published scatter is known here for %s", q.Response).
					On("question", q.ID).WithFix("state one: --sd %s=…", q.ID)
			}
			out[q.ID] = s
		default:
			if err := load(); err != nil {
				return nil, err
			}
			s, err := answer.PilotSpread(pilots, q, pilotFrom, pilotCounts)
			if err != nil {
				if o.pilot != "" {
					return nil, err
				}
				var known bool
				if s, known = answer.PublishedSpread(q); !known {
					return nil, fault.BadUsage("spread-missing", "the scatter of question %s (%s) is not known", q.ID, q.Response).
						WithFix("state the SD of a pair's difference with --sd %s=…, or name a pilot with --pilot STUDY, or --published, or --heat 200", q.ID)
				}
			}
			out[q.ID] = s
		}
	}
	return out, nil
}

// parseSpread reads a standard deviation in the unit of a question's margin.
func parseSpread(q *study.Question, text string) (float64, error) {
	text = strings.TrimSpace(text)
	bad := fault.BadUsage("sd-unit", "the standard deviation of question %s is not in the unit of its margin", q.ID).
		On("--sd", text).WithFix("write it as the margin is written: %s", q.Margin.Text)
	if v, err := strconv.ParseFloat(text, 64); err == nil {
		if q.Margin.MarginKind == quantity.MarginRatio {
			return 0, bad
		}
		if !(v > 0) || math.IsInf(v, 0) {
			return 0, fault.BadUsage("sd-range", "the standard deviation must be a positive number").On("--sd", text)
		}
		return v, nil
	}
	m, err := quantity.ParseMargin(text)
	if err != nil {
		if m, err = quantity.ParseMargin("+" + text); err != nil {
			return 0, bad
		}
	}
	if m.MarginKind != q.Margin.MarginKind || m.MarginKind == quantity.MarginAmount && m.Kind != q.Margin.Kind && m.Unit != q.Margin.Unit {
		return 0, bad
	}
	return m.Value, nil // of a ratio: the SD of logarithms, near the share itself
}

// heatNoise is what a thermometer and a scale add to a single value, as a
// standard deviation: 0.5 °C for placing and reading a probe, 0.2 points for
// weighing 250 g twice to the gram. Common practice, no source.
var heatNoise = map[string]float64{"°C": 0.5, "K": 0.5, "%": 0.2, "s": 5}

// heatNames maps responses to those of the heat model.
var heatNames = map[string]string{"cooking_loss": "loss_pct", "core_at_pull": "core_at_pull_c", "core_peak": "core_peak_c",
	"carryover": "carryover_k", "time_to_peak": "time_to_peak_s", "even_share": "even_share_pct", "surface_at_serving": "surface_at_end_c"}

// heatSpread takes the scatter from the heat model's sampled cooks of both
// treatments, plus the noise of thermometer and scale. Pieces are drawn
// independently, so matched pieces differ by less.
func heatSpread(ctx context.Context, env *Env, rec *bench.Record, q *study.Question, n int, sampled map[string]map[string]heat.SampledResponse) (answer.Spread, error) {
	_, ratio := answer.Delta(q)
	id, ok := heatNames[q.Response]
	if !ok || ratio {
		return answer.Spread{}, fault.New("heat-response", "the heat model does not give %s on this scale", q.Response).
			On("question", q.ID).WithFix("state a standard deviation: --sd %s=…", q.ID)
	}
	unit := ""
	if r, ok := study.LookupResponse(q.Response); ok {
		unit = r.Unit
	}
	variance := 0.0
	for _, want := range []string{q.Compare.Treatment, q.Compare.Against} {
		for _, t := range rec.Study.Treatments {
			if t.ID != want {
				continue
			}
			src, ok := rec.CookFiles[t.Cook]
			if t.Cook == "" || !ok {
				return answer.Spread{}, fault.New("heat-cook-file", "treatment %s has no cook file to sample", t.ID).WithFix("add cook: to it, or state a standard deviation with --sd")
			}
			if sampled[t.ID] == nil {
				cook, err := heat.ParseCook(t.Cook, src)
				if err != nil {
					return answer.Spread{}, err
				}
				progress, done := env.progress("sampling " + t.Cook)
				s, err := cook.Sample(ctx, heat.Sampling{N: n, Seed: 1, Options: heat.Options{Fast: true}, Progress: progress})
				done()
				if err != nil {
					return answer.Spread{}, err
				}
				sampled[t.ID] = map[string]heat.SampledResponse{}
				for _, r := range s.Responses {
					sampled[t.ID][r.ID] = r
				}
			}
			r := sampled[t.ID][id]
			sd := (r.High - r.Low) / (2 * 1.6448536269514722) // of the middle 90 %
			variance += sd*sd + heatNoise[unit]*heatNoise[unit]
		}
	}
	if !(variance > 0) {
		return answer.Spread{}, fault.New("heat-spread", "the sampled cooks do not vary in %s", q.Response).WithFix("write what varies in the cook files as 400 ± 80, or state --sd")
	}
	return answer.Spread{SD: math.Sqrt(variance), Rough: true,
		Source: fmt.Sprintf("%d sampled cooks of the heat model for each treatment, pieces drawn independently, plus %g %s of reading noise", n, heatNoise[unit], unit)}, nil
}
