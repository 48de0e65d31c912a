package store

import (
	"trivet/study"
)

// parseDocument reads a study again from what was written.
func parseDocument(document []byte, cookFiles map[string][]byte) (*study.Study, error) {
	s, err := study.Parse("study.yaml", document)
	if err != nil {
		return nil, err
	}
	return s, nil
}
