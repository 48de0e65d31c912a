//go:build coverage

package measure

import "testing"

// The figures of docs/logs.md.
func TestCoverageOfDetectionByKind(t *testing.T) { detectionByKind(t, 24) }
