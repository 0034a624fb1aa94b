package servertest

import (
	"os/exec"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestAProgramIsUpOnceItSaysSo(t *testing.T) {
	t.Parallel()
	const script = `echo "at 17, on stderr" >&2; printf "at 1"; printf "8\n"; trap "echo bye; exit 0" TERM; while :; do sleep 0.01; done`
	p := Run(t, exec.CommandContext(t.Context(), "sh", "-c", script), regexp.MustCompile(`at \d+`))
	require.Equal(t, "at 18", p.Up, "a whole line of what it prints")
	p.Stop()
	assert.Contains(t, p.Said(), "on stderr")
	assert.True(t, strings.HasSuffix(p.Said(), "bye\n"), p.Said())
	<-p.Gone()
	p.Kill() // and may be killed for all that
}
