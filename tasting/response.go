package tasting

import (
	"fmt"
	"math"
	"sort"

	"trivet/fault"
)

// TwoByTwo counts two answers to two kinds of sample: how often the "yes"
// answer ("not A", "different") was given to the samples where it is right
// and to those where it is wrong.
type TwoByTwo struct {
	Hits        int `json:"hits"`         // yes where right
	Signals     int `json:"signals"`      // samples where yes is right
	FalseAlarms int `json:"false_alarms"` // yes where wrong
	Noises      int `json:"noises"`       // samples where yes is wrong
}

// ResponseMethod is a method with two answers and a personal criterion
// instead of a guess probability.
type ResponseMethod interface {
	Method
	// Rates are the chances of "yes" where right and where wrong at a d′ and
	// a criterion.
	Rates(dPrime, criterion float64) (hit, falseAlarm float64)
	// Fair is the criterion of an assessor who maximises hit − false alarm.
	Fair(dPrime float64) float64
	// fit turns rates into d′ and criterion.
	fit(hit, falseAlarm float64) (dPrime, criterion float64)
	// yesIs words the answer counted.
	yesIs() string
}

// ResponseAnswer is one judgement: by whom, of a sample where "yes" is right
// or wrong, answered yes or no, perhaps with sureness from 1 upwards.
type ResponseAnswer struct {
	Assessor string
	Signal   bool
	Yes      bool
	Sureness int // 0: not asked
}

// ResponseResult is a scored A-not-A or same-different test. The p-value is
// exact and one-sided: "yes" comes more often where it is right.
type ResponseResult struct {
	Method string `json:"method"`
	Yes    string `json:"-"` // the answer counted
	TwoByTwo
	Assessors  int          `json:"assessors"`
	HitRate    float64      `json:"hit_rate"`
	FalseRate  float64      `json:"false_alarm_rate"`
	Test       string       `json:"test"`
	PValue     float64      `json:"p_value"`
	DPrime     float64      `json:"d_prime"`
	DPrimeLow  *float64     `json:"d_prime_low"` // one-sided 1−alpha, likelihood
	DPrimeHigh *float64     `json:"d_prime_high"`
	Criterion  float64      `json:"criterion"`
	Alpha      float64      `json:"alpha"`
	Curve      *Curve       `json:"curve,omitempty"` // when sureness was asked
	Verdict    Verdict      `json:"verdict"`
	Says       []string     `json:"says"`
	Notes      []fault.Note `json:"notes,omitempty"`
}

// ScoreResponses scores single judgements.
//
// The p-value depends on who judged what. Every judgement by another
// assessor: Fisher's exact test. Otherwise the exact test stratified by
// assessor, whose null distribution is the convolution of the assessors'
// hypergeometric ones; with one sample of each kind from each assessor that is
// McNemar's exact test.
func ScoreResponses(m ResponseMethod, answers []ResponseAnswer, alpha float64) (*ResponseResult, error) {
	if err := riskInRange("alpha", alpha); err != nil {
		return nil, err
	}
	by := map[string]*TwoByTwo{}
	var names []string
	var all TwoByTwo
	sure := false
	for _, a := range answers {
		t := by[a.Assessor]
		if t == nil {
			t = &TwoByTwo{}
			by[a.Assessor] = t
			names = append(names, a.Assessor)
		}
		t.add(a)
		all.add(a)
		sure = sure || a.Sureness > 0
	}
	sort.Strings(names)
	if all.Signals == 0 || all.Noises == 0 {
		return nil, fault.New("one-kind-only", "all samples are of one kind: the other rate is needed").
			WithFix("serve both kinds about equally often; one kind alone shows nothing")
	}
	res := newResponse(m, all, alpha)
	res.Assessors = len(names)
	once := len(names) == len(answers)
	pairs := true
	var strata []TwoByTwo
	for _, n := range names {
		t := *by[n]
		strata = append(strata, t)
		pairs = pairs && t.Signals == 1 && t.Noises == 1
	}
	switch {
	case once:
		res.Test = "Fisher's exact test, one-sided"
		res.PValue = stratifiedP([]TwoByTwo{all})
	case len(names) == 1:
		res.Test = "exact randomisation within one assessor, one-sided"
		res.PValue = stratifiedP(strata)
	case pairs:
		res.Test = "McNemar's exact test, one-sided"
		res.PValue = stratifiedP(strata)
	default:
		res.Test = "exact test stratified by assessor, one-sided"
		res.PValue = stratifiedP(strata)
	}
	if !once {
		res.note("replicated", "%d judgements from %d assessors: d′ pools them and its limits count every judgement as independent", len(answers), len(names))
	}
	if sure {
		c, err := SurenessCurve(m, answers)
		if err != nil {
			return nil, err
		}
		res.Curve = c
	}
	res.finish(m, len(names), len(answers))
	return res, nil
}

// ScoreTwoByTwo scores pooled counts as if every judgement came from another
// assessor, and says so.
func ScoreTwoByTwo(m ResponseMethod, t TwoByTwo, alpha float64) (*ResponseResult, error) {
	if err := riskInRange("alpha", alpha); err != nil {
		return nil, err
	}
	if t.Signals < 1 || t.Noises < 1 || t.Hits < 0 || t.Hits > t.Signals || t.FalseAlarms < 0 || t.FalseAlarms > t.Noises {
		return nil, fault.New("count-range", "%d of %d and %d of %d are not counts of two kinds of sample", t.Hits, t.Signals, t.FalseAlarms, t.Noises).WithFix("both kinds are needed, each count between 0 and its total")
	}
	res := newResponse(m, t, alpha)
	res.Test = "Fisher's exact test, one-sided"
	res.PValue = stratifiedP([]TwoByTwo{t})
	res.note("pooled", "scored from totals: this holds only if every judgement came from another assessor")
	res.finish(m, 0, t.Signals+t.Noises)
	return res, nil
}

func (t *TwoByTwo) add(a ResponseAnswer) {
	n, yes := &t.Noises, &t.FalseAlarms
	if a.Signal {
		n, yes = &t.Signals, &t.Hits
	}
	*n++
	if a.Yes {
		*yes++
	}
}

func (r *ResponseResult) note(code fault.Code, format string, args ...any) {
	r.Notes = append(r.Notes, fault.Notef(code, format, args...))
}

func newResponse(m ResponseMethod, t TwoByTwo, alpha float64) *ResponseResult {
	r := &ResponseResult{Method: m.Describe().Name, Yes: m.yesIs(), TwoByTwo: t, Alpha: alpha,
		HitRate: float64(t.Hits) / float64(t.Signals), FalseRate: float64(t.FalseAlarms) / float64(t.Noises)}
	h, f := r.HitRate, r.FalseRate
	if h == 0 || h == 1 || f == 0 || f == 1 {
		h = (float64(t.Hits) + 0.5) / (float64(t.Signals) + 1)
		f = (float64(t.FalseAlarms) + 0.5) / (float64(t.Noises) + 1)
		r.note("log-linear", "a rate is 0 or 1, so d′ is from (count + 0.5)/(number + 1)")
	}
	r.DPrime, r.Criterion = m.fit(h, f)
	low, high := profileDPrime(m, t, alpha)
	r.DPrimeLow, r.DPrimeHigh = finite(low), finite(high)
	return r
}

func (r *ResponseResult) finish(m ResponseMethod, assessors, answers int) {
	r.Verdict = NotShownDifferent
	say := func(format string, args ...any) { r.Says = append(r.Says, fmt.Sprintf(format, args...)) }
	counts := fmt.Sprintf("%q was answered to %d of %d where right and %d of %d where wrong", m.yesIs(), r.Hits, r.Signals, r.FalseAlarms, r.Noises)
	if r.PValue <= r.Alpha {
		r.Verdict = Different
		say("Detected: %s (%s, p %s).", counts, r.Test, pText(r.PValue))
		say("It may claim that these assessors could tell the two products apart.")
	} else {
		say("Not detected: %s (%s, p %s).", counts, r.Test, pText(r.PValue))
		if r.DPrimeHigh != nil {
			say("It could have missed a d′ up to %.2g (%s limit). Not detected is not the same as alike.", *r.DPrimeHigh, percent(1-r.Alpha))
		}
	}
	if assessors == 1 && answers > 1 {
		say("One taster answering %d times speaks for that taster, these samples and that day.", answers)
	}
	for _, not := range m.Describe().Not {
		say("It may not claim %s.", not)
	}
}

// stratifiedP is P(total hits ≥ observed) given every stratum's margins.
func stratifiedP(strata []TwoByTwo) float64 {
	dist := []float64{1}
	offset, observed := 0, 0
	for _, s := range strata {
		lo, pmf := hypergeometric(s)
		offset += lo
		observed += s.Hits
		next := make([]float64, len(dist)+len(pmf)-1)
		for i, a := range dist {
			for j, b := range pmf {
				next[i+j] += a * b
			}
		}
		dist = next
	}
	p := 0.0
	for i := len(dist) - 1; i >= 0 && i+offset >= observed; i-- {
		p += dist[i]
	}
	return math.Min(1, p)
}

// hypergeometric is the distribution of the hits of one table given its
// margins, from the smallest possible count lo.
func hypergeometric(t TwoByTwo) (lo int, pmf []float64) {
	yes := t.Hits + t.FalseAlarms
	lo = max(0, yes-t.Noises)
	hi := min(yes, t.Signals)
	pmf = make([]float64, hi-lo+1)
	// From the mode outwards by the ratio of neighbours, so that nothing
	// underflows on the way to where the probability is.
	mode := min(hi, max(lo, (yes+1)*(t.Signals+1)/(t.Signals+t.Noises+2)))
	pmf[mode-lo] = math.Exp(logChoose(t.Signals, mode) + logChoose(t.Noises, yes-mode) - logChoose(t.Signals+t.Noises, yes))
	ratio := func(k int) float64 { // P(k+1)/P(k)
		return float64(t.Signals-k) * float64(yes-k) / (float64(k+1) * float64(t.Noises-yes+k+1))
	}
	for k := mode; k < hi; k++ {
		pmf[k+1-lo] = pmf[k-lo] * ratio(k)
	}
	for k := mode; k > lo; k-- {
		pmf[k-1-lo] = pmf[k-lo] / ratio(k-1)
	}
	return lo, pmf
}

// profileDPrime gives likelihood-ratio limits of d′, the criterion profiled
// out, each one-sided at 1−alpha. The upper one is +Inf when the data do not
// bound it.
func profileDPrime(m ResponseMethod, t TwoByTwo, alpha float64) (low, high float64) {
	ll := func(d float64) float64 {
		_, v := maximise(func(c float64) float64 {
			h, f := m.Rates(d, c)
			return binomialLogLik(t.Hits, t.Signals, h) + binomialLogLik(t.FalseAlarms, t.Noises, f)
		}, -8, 16, 96)
		return v
	}
	z := normalQuantile(1 - alpha)
	floor := 0.0
	if _, ok := m.(ANotA); ok {
		floor = -8
	}
	best, top := maximise(ll, floor, 8, 32)
	inside := func(d float64) float64 { return z*z - 2*(top-ll(d)) }
	low, high = floor, math.Inf(1)
	if inside(floor) < 0 {
		low = bisectCoarse(func(d float64) float64 { return -inside(d) }, floor, best)
	}
	if inside(8) < 0 {
		high = bisectCoarse(inside, best, 8)
	}
	if low == -8 {
		low = math.Inf(-1)
	}
	return low, high
}

func binomialLogLik(x, n int, p float64) float64 {
	l := 0.0
	if x > 0 {
		l += float64(x) * math.Log(p)
	}
	if x < n {
		l += float64(n-x) * math.Log1p(-p)
	}
	if math.IsNaN(l) {
		return math.Inf(-1)
	}
	return l
}

// ResponsePlan is the number of judgements of each kind of sample.
type ResponsePlan struct {
	Method     string  `json:"method"`
	N          int     `json:"n"`      // judgements, both kinds together
	PerKind    int     `json:"n_kind"` // of each kind
	Size       float64 `json:"size"`
	Power      float64 `json:"power"`
	Alpha      float64 `json:"alpha"`
	Beta       float64 `json:"beta"`
	DPrime     float64 `json:"d_prime"`
	HitRate    float64 `json:"hit_rate"`
	FalseAlarm float64 `json:"false_alarm_rate"`
}

// SizeResponses returns the smallest equal number of judgements of each kind,
// every one from another assessor with a fair criterion, at which Fisher's
// exact test has power 1−beta. The power is summed over both counts, not
// approximated. It refuses more than 400 a kind, code "too-many-assessors".
func SizeResponses(m ResponseMethod, dPrime, alpha, beta float64) (*ResponsePlan, error) {
	if err := (Goal{Alpha: alpha, Beta: beta, DPrime: dPrime}).check(); err != nil {
		return nil, err
	}
	h, f := m.Rates(dPrime, m.Fair(dPrime))
	// The normal approximation says where to start looking; Fisher's test,
	// being conservative, needs more.
	za, zb := normalQuantile(1-alpha), normalQuantile(1-beta)
	guess := int(math.Pow(za+zb, 2) * (h*(1-h) + f*(1-f)) / math.Pow(h-f, 2))
	const most = 400
	if guess > most {
		return nil, fault.New("too-many-assessors", "d′ = %s needs more than %d judgements of each kind", number(dPrime), most).WithFix("use a choice method, or a larger difference")
	}
	for n := max(2, guess*9/10); n <= 2*most; n++ {
		size, power := fisherPower(n, h, f, alpha)
		if power >= 1-beta {
			return &ResponsePlan{m.Describe().Name, 2 * n, n, size, power, alpha, beta, dPrime, h, f}, nil
		}
	}
	return nil, fault.New("too-many-assessors", "d′ = %s needs more than %d judgements of each kind", number(dPrime), most)
}

// fisherPower returns the true size at the worst common rate tried (f, the
// mean and h) and the power of Fisher's one-sided test with n of each kind.
func fisherPower(n int, h, f, alpha float64) (size, power float64) {
	// least[s] is the fewest hits significant among s yes answers.
	least := make([]int, 2*n+1)
	for s := range least {
		t := TwoByTwo{Signals: n, Noises: n, Hits: min(s, n), FalseAlarms: s - min(s, n)}
		lo, pmf := hypergeometric(t)
		least[s] = lo + len(pmf)
		tail := 0.0
		for i := len(pmf) - 1; i >= 0; i-- {
			if tail += pmf[i]; tail > alpha*(1+1e-12) {
				break
			}
			least[s] = lo + i
		}
	}
	reject := func(h, f float64) float64 {
		ph, pf := make([]float64, n+1), make([]float64, n+1)
		for k := range ph {
			ph[k], pf[k] = binomialPMF(n, k, h), binomialPMF(n, k, f)
		}
		sum := 0.0
		for a := range ph {
			for b := range pf {
				if a >= least[a+b] {
					sum += ph[a] * pf[b]
				}
			}
		}
		return sum
	}
	for _, p := range []float64{f, (h + f) / 2, h} {
		size = math.Max(size, reject(p, p))
	}
	return size, reject(h, f)
}
