package page

import (
	"compress/gzip"
	"io"
	"net/http"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestATextIsPackedForWhoUnpacksIt(t *testing.T) {
	s, _ := serve(t, nil)
	style := s.style.Path()
	for _, target := range []string{"/", "/tanks/FV3", "/alarms/creep", "/tanks/FV3/curves.svg", style} {
		plain := ask(s, http.MethodGet, target, "")
		assert.Empty(t, plain.Header().Get("Content-Encoding"), "%s: nobody said that it can unpack", target)
		assert.Equal(t, "Accept-Encoding", plain.Header().Get("Vary"), target)
		for _, accept := range []string{"gzip, deflate, br", "br;q=1, gzip;q=0.2"} {
			packed := ask(s, http.MethodGet, target, "", header("Accept-Encoding", accept))
			require.Equal(t, "gzip", packed.Header().Get("Content-Encoding"), target)
			assert.Equal(t, plain.Code, packed.Code)
			assert.Equal(t, plain.Header().Get("Content-Type"), packed.Header().Get("Content-Type"))
			assert.Less(t, packed.Body.Len(), plain.Body.Len()/2, target)
			unpacked, err := gzip.NewReader(packed.Body)
			require.NoError(t, err)
			text, err := io.ReadAll(unpacked)
			require.NoError(t, err)
			assert.Equal(t, plain.Body.String(), string(text), target)
		}
		for _, accept := range []string{"gzip;q=0", "br", "identity"} {
			assert.Empty(t, ask(s, http.MethodGet, target, "", header("Accept-Encoding", accept)).Header().Get("Content-Encoding"), "%s: %s", target, accept)
		}
	}
	for _, target := range []string{"/tanks/FV3/curves.png", "/api/v1/readings", "/api/v1/tanks"} {
		got := ask(s, http.MethodGet, target, "", header("Accept-Encoding", "gzip"))
		assert.Empty(t, got.Header().Get("Content-Encoding"), "%s: a picture is packed, a stream is not to wait", target)
	}
	assert.Empty(t, ask(s, http.MethodGet, "/nowhere", "", header("Accept-Encoding", "gzip")).Header().Get("Content-Encoding"), "it is small")
}
