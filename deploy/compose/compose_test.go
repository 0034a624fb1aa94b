package compose

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/compose-spec/compose-go/v2/cli"
	"github.com/compose-spec/compose-go/v2/types"
	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.yaml.in/yaml/v4"

	"spile/cmd/config"
	"spile/ingest/servertest"
)

// No image is fetched and no container is started here: the files are held
// against the programs that read them, as far as those run without.

const repo = "../.."

// deployed copies what compose.yaml sits among, and makes the passwords.
func deployed(t *testing.T) (dir string) {
	t.Helper()
	dir = t.TempDir()
	run(t, "cp", "-r", repo+"/deploy", dir)
	require.NoError(t, os.RemoveAll(dir+"/deploy/compose/secret"))
	run(t, "sh", dir+"/deploy/compose/secrets")
	return filepath.Join(dir, "deploy/compose")
}

func run(t *testing.T, name string, args ...string) string {
	t.Helper()
	out, err := exec.CommandContext(t.Context(), name, args...).CombinedOutput()
	require.NoError(t, err, "%s %v\n%s", name, args, out)
	return string(out)
}

func read(t *testing.T, path string) string {
	t.Helper()
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	return string(text)
}

func project(t *testing.T, dir string) *types.Project {
	t.Helper()
	o, err := cli.NewProjectOptions([]string{filepath.Join(dir, "compose.yaml")}, cli.WithWorkingDirectory(dir))
	require.NoError(t, err)
	p, err := o.LoadProject(t.Context())
	require.NoError(t, err, "the specification's own loader takes it")
	return p
}

func TestEverythingThatIsMountedIsThere(t *testing.T) {
	dir := deployed(t)
	p := project(t, dir)
	require.Len(t, p.Services, 5)
	for name, s := range p.Services {
		for _, v := range s.Volumes {
			if v.Type == types.VolumeTypeBind {
				_, err := os.Stat(v.Source)
				assert.NoError(t, err, name)
			}
		}
		for _, secret := range s.Secrets {
			given, ok := p.Secrets[secret.Source]
			require.True(t, ok, "%s: %s", name, secret.Source)
			info, err := os.Stat(given.File)
			require.NoError(t, err, name)
			assert.NotZero(t, info.Size(), secret.Source)
		}
		assert.Regexp(t, `:(v?\d+\.\d+(\.\d+)?|local)$`, s.Image, "an image is named by its version")
		for _, port := range s.Ports {
			assert.True(t, port.HostIP == "127.0.0.1" || name == "broker", "%s: only the broker is reached from the network", name)
		}
	}
}

func TestPasswordsAreMadeAndNotGiven(t *testing.T) {
	first, second := deployed(t), deployed(t)
	seen := map[string]string{}
	for _, dir := range []string{first, second} {
		files, err := filepath.Glob(dir + "/secret/*")
		require.NoError(t, err)
		require.Len(t, files, 7)
		for _, file := range files {
			text := read(t, file)
			assert.Empty(t, seen[text], "%s and %s are the same", file, seen[text])
			seen[text] = file
		}
	}
	before := read(t, first+"/secret/mqtt-password")
	run(t, "sh", first+"/secrets")
	assert.Equal(t, before, read(t, first+"/secret/mqtt-password"), "what is there stays")
	given := regexp.MustCompile(`(?i)(password|token)\w*: *"?[^{/"\s][^/\s]*$`)
	for _, line := range strings.Split(read(t, "compose.yaml"), "\n") {
		assert.NotRegexp(t, given, line, "no password stands in compose.yaml")
	}
}

func TestMosquittoTakesItsConfigAndPasswords(t *testing.T) {
	dir := deployed(t)
	kept := func(conf string) string { // the lines, with the places that they have here
		return strings.NewReplacer("/run/secrets/broker-passwords", dir+"/secret/broker-passwords",
			"/mosquitto/config/access", dir+"/mosquitto/access").Replace(conf)
	}
	var settings []string
	for line := range strings.Lines(kept(read(t, dir+"/mosquitto/mosquitto.conf"))) {
		line = strings.TrimSpace(line)
		// The port and the place of the data are the test's own.
		if line != "" && !strings.HasPrefix(line, "#") && !regexp.MustCompile(`^(listener|persistence|max_queued|per_listener)`).MatchString(line) {
			settings = append(settings, line)
		}
	}
	broker := servertest.Mosquitto(t, servertest.MosquittoOptions{Settings: settings})
	sign := func(user, password string) error {
		o := paho.NewClientOptions().AddBroker(broker.URL).SetClientID("t-" + user).SetUsername(user).SetPassword(password)
		c := paho.NewClient(o.SetAutoReconnect(false).SetConnectRetry(false))
		token := c.Connect()
		token.Wait()
		c.Disconnect(100)
		return token.Error()
	}
	for user, file := range map[string]string{"spile": "mqtt-password", "probe": "probe-password"} {
		require.NoError(t, sign(user, strings.TrimSpace(read(t, dir+"/secret/"+file))), user)
		require.Error(t, sign(user, "guessed"), user)
	}
	require.Error(t, sign("", ""), "nobody comes in without a name")
}

func TestPrometheusTakesItsConfig(t *testing.T) {
	etc := t.TempDir() // as it is within the container
	run(t, "cp", "prometheus.yml", repo+"/deploy/prometheus/federation.yml", repo+"/deploy/prometheus/spile.rules.yml", repo+"/deploy/prometheus/spile.rules.test.yml", etc)
	require.NoError(t, servertest.PromtoolRules(t, etc+"/spile.rules.yml", etc+"/spile.rules.test.yml", etc+"/prometheus.yml"))
	require.NoError(t, servertest.PromtoolRules(t, etc+"/spile.rules.yml", etc+"/spile.rules.test.yml", etc+"/federation.yml"))
}

func TestSpileTakesItsConfig(t *testing.T) {
	dir := deployed(t)
	text := strings.ReplaceAll(read(t, dir+"/spile.yaml"), "/run/secrets/", dir+"/secret/")
	c, err := config.Parse("spile.yaml", []byte(text))
	require.NoError(t, err)
	p := project(t, dir)
	assert.Equal(t, "mqtt://broker:1883", c.MQTT.Broker)
	assert.Contains(t, p.Services, "broker")
	assert.Equal(t, *p.Services["influxdb"].Environment["DOCKER_INFLUXDB_INIT_BUCKET"], c.Influx.Bucket)
	assert.Equal(t, *p.Services["influxdb"].Environment["DOCKER_INFLUXDB_INIT_ORG"], c.Influx.Org)
	assert.Contains(t, read(t, dir+"/mosquitto/access"), "spile/"+c.Site+"/#")
}

func TestGrafanaFindsPrometheus(t *testing.T) {
	uid := func(path string) string {
		var file struct {
			Datasources []struct{ UID, Name, Type, Access, URL string }
		}
		require.NoError(t, yaml.Unmarshal([]byte(read(t, path)), &file))
		require.Len(t, file.Datasources, 1)
		return file.Datasources[0].UID
	}
	assert.Equal(t, uid(repo+"/deploy/grafana/provisioning/datasources/spile.yaml"), uid("grafana/datasources/spile.yaml"),
		"the dashboards look for it by this name")
	assert.Contains(t, read(t, "grafana/datasources/spile.yaml"), "http://prometheus:9090")
}

// TestTheImageHoldsWhatIsThere sees that what the Containerfile copies is in the
// repository, and that the program it starts with exists.
func TestTheImageHoldsWhatIsThere(t *testing.T) {
	text := read(t, "Containerfile")
	copies := regexp.MustCompile(`(?m)^COPY (.*) \S+$`).FindAllStringSubmatch(text, -1)
	require.NotEmpty(t, copies)
	for _, found := range copies {
		for _, source := range strings.Fields(found[1]) {
			if strings.HasPrefix(source, "/") || strings.HasPrefix(source, "--") {
				continue // of the stage before
			}
			_, err := os.Stat(filepath.Join(repo, source))
			assert.NoError(t, err)
		}
	}
	assert.Contains(t, text, "FROM scratch")
	assert.Contains(t, text, "USER 65532:65532", "not as root")
}
