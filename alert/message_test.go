package alert

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"spile/detect"
)

// TestACallAsJSONCarriesItsCaution holds what is delivered by default to what a brewer is promised: who is called by it
// reads what to look at first, and how not to be hurt.
func TestACallAsJSONCarriesItsCaution(t *testing.T) {
	s := newScene(Options{Policy: Policy{Webhooks: []Webhook{{Name: "phone"}}}})
	s.find("01:00", "FV3", detect.OverPressure, detect.Critical)
	notices := s.Notices()
	require.Len(t, notices, 1)
	body, err := notices[0].Message.JSON()
	require.NoError(t, err)
	var said Message
	require.NoError(t, json.Unmarshal(body, &said))
	d, _ := Define(detect.OverPressure)
	assert.Equal(t, d.LookFirst, said.LookFirst)
	assert.Equal(t, d.Caution, said.Caution)
	assert.NotEmpty(t, said.Caution)
}
