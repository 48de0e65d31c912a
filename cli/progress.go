package cli

import (
	"time"

	"github.com/schollz/progressbar/v3"

	"trivet/bench"
)

// progress draws a bar on the terminal for work longer than a second; it is
// silent when stderr is not a terminal or JSON is asked for.
func (e *Env) progress(what string) (bench.Progress, func()) {
	if !e.Interactive || e.JSON {
		return nil, func() {}
	}
	var bar *progressbar.ProgressBar
	start := time.Now()
	report := func(done, total int) {
		if bar == nil {
			if time.Since(start) < time.Second {
				return
			}
			bar = progressbar.NewOptions(total, progressbar.OptionSetWriter(e.Stderr),
				progressbar.OptionSetDescription(what), progressbar.OptionClearOnFinish(),
				progressbar.OptionShowCount(), progressbar.OptionThrottle(100*time.Millisecond))
		}
		bar.Set(done)
	}
	return report, func() {
		if bar != nil {
			bar.Finish()
		}
	}
}
