package service

import (
	"reflect"
	"strings"
	"testing"
	"time"
)

func TestSettingsFromNothing(t *testing.T) {
	got, err := SettingsFromEnvironment(nil)
	want := Settings{
		Broker: "tcp://localhost:1883", ClientID: "rhizostat", TopicRoot: "rhizostat", Sites: "site.yaml", Ledger: "rhizostat.db",
		HTTP: ":9187", Clock: "wall", StateEvery: time.Minute, LogLevel: "info", LogFormat: "text",
	}
	if err != nil || got != want {
		t.Errorf("%+v, %v", got, err)
	}
}

func TestSettingsFromEnvironment(t *testing.T) {
	got, err := SettingsFromEnvironment([]string{
		"PATH=/bin", "RHIZOSTAT_BROKER=ssl://farm:8883", "RHIZOSTAT_CLIENT_ID=north-1", "RHIZOSTAT_USERNAME=daemon",
		"RHIZOSTAT_PASSWORD_FILE=p", "RHIZOSTAT_CA_FILE=ca", "RHIZOSTAT_CERT_FILE=c", "RHIZOSTAT_KEY_FILE=k", "RHIZOSTAT_TOPIC_ROOT=farm/rhizostat",
		"RHIZOSTAT_SITES=sites/*.yaml", "RHIZOSTAT_LEDGER=l.db", "RHIZOSTAT_HTTP=127.0.0.1:9000", "RHIZOSTAT_CLOCK=telemetry",
		"RHIZOSTAT_STATE_EVERY=5m", "RHIZOSTAT_LOG_LEVEL=debug", "RHIZOSTAT_LOG_FORMAT=json", "RHIZOSTAT_STANDBY=true",
	})
	want := Settings{
		Broker: "ssl://farm:8883", ClientID: "north-1", Username: "daemon", PasswordFile: "p", CAFile: "ca", CertFile: "c", KeyFile: "k",
		TopicRoot: "farm/rhizostat", Sites: "sites/*.yaml", Ledger: "l.db", HTTP: "127.0.0.1:9000", Clock: "telemetry", StateEvery: 5 * time.Minute,
		LogLevel: "debug", LogFormat: "json", Standby: true,
	}
	if err != nil || got != want {
		t.Errorf("%+v, %v", got, err)
	}
}

func TestSettingsThatCannotBe(t *testing.T) {
	for _, c := range []struct {
		environ []string
		says    []string
	}{
		{[]string{"RHIZOSTAT_BROKR=x"}, []string{"RHIZOSTAT_BROKR is unknown"}},
		{[]string{"RHIZOSTAT_=x", "RHIZOSTAT_broker=x"}, []string{"RHIZOSTAT_ is unknown", "RHIZOSTAT_broker is unknown"}},
		{[]string{"RHIZOSTAT_PORTS=1", "RHIZOSTAT_SERVICE=a", "RHIZOSTAT_SERVICES_HOST=b"},
			[]string{"RHIZOSTAT_PORTS is unknown", "RHIZOSTAT_SERVICE is unknown", "RHIZOSTAT_SERVICES_HOST is unknown"}},
		{[]string{"RHIZOSTAT_CLOCK=", "RHIZOSTAT_CLOCK=sun"}, []string{`"sun" is unknown; expected wall or telemetry`}},
		{[]string{"RHIZOSTAT_STATE_EVERY=10"}, []string{"RHIZOSTAT_STATE_EVERY"}},
		{[]string{"RHIZOSTAT_STATE_EVERY=soon", "RHIZOSTAT_CLOK=wall", "RHIZOSTAT_STANDBY=maybe", "RHIZOSTAT_CLOCK=sun", "RHIZOSTAT_LOG_FORMAT=xml"}, []string{`RHIZOSTAT_STATE_EVERY: "soon" cannot be read`, `"sun" is unknown`, `"xml" is unknown`, "RHIZOSTAT_CLOK is unknown", "RHIZOSTAT_STANDBY"}},
		{[]string{"RHIZOSTAT_STATE_EVERY=999ms"}, []string{"999ms is out of range; expected from 1s to 1h"}},
		{[]string{"RHIZOSTAT_STATE_EVERY=-1m"}, []string{"out of range"}},
		{[]string{"RHIZOSTAT_TOPIC_ROOT=a/+/b"}, []string{"without wildcards"}},
		{[]string{"RHIZOSTAT_TOPIC_ROOT=$SYS"}, []string{"cannot begin topics"}},
		{[]string{"RHIZOSTAT_TOPIC_ROOT=/a"}, []string{"cannot begin topics"}},
		{[]string{"RHIZOSTAT_TOPIC_ROOT=a/"}, []string{"cannot begin topics"}},
		{[]string{"RHIZOSTAT_LOG_LEVEL=loud", "RHIZOSTAT_LOG_FORMAT=xml"}, []string{`"loud" is unknown`, `"xml" is unknown`}},
	} {
		_, err := SettingsFromEnvironment(c.environ)
		if err == nil {
			t.Errorf("%q was taken", c.environ)
			continue
		}
		for _, s := range c.says {
			if !strings.Contains(err.Error(), s) {
				t.Errorf("%q: %v; want it to say %q", c.environ, err, s)
			}
		}
		if strings.Count(err.Error(), "RHIZOSTAT_STATE_EVERY") > 1 {
			t.Errorf("%q: one mistake is told twice: %v", c.environ, err)
		}
		for line := range strings.Lines(err.Error()) {
			if !strings.HasPrefix(line, "environment: RHIZOSTAT_") {
				t.Errorf("%q: a line that does not say where: %q", c.environ, line)
			}
		}
	}
}

// Beside a Service called rhizostat Kubernetes sets variables of that name.
func TestVariablesOfAKubernetesServiceAreNoMistake(t *testing.T) {
	got, err := SettingsFromEnvironment([]string{
		"RHIZOSTAT_SERVICE_HOST=10.96.0.7", "RHIZOSTAT_SERVICE_PORT=9187", "RHIZOSTAT_SERVICE_PORT_METRICS=9187",
		"RHIZOSTAT_PORT=tcp://10.96.0.7:9187", "RHIZOSTAT_PORT_9187_TCP=tcp://10.96.0.7:9187", "RHIZOSTAT_PORT_9187_TCP_ADDR=10.96.0.7",
		"RHIZOSTAT_PORT_9187_TCP_PORT=9187", "RHIZOSTAT_PORT_9187_TCP_PROTO=tcp",
	})
	if err != nil {
		t.Fatal(err)
	}
	if plain, err := SettingsFromEnvironment(nil); err != nil || got != plain {
		t.Errorf("with them the settings are %+v, without %+v (%v)", got, plain, err)
	}
}

// The table for people and the fields that are read are the same.
func TestVariablesAreTheFields(t *testing.T) {
	fields := reflect.TypeFor[Settings]()
	if fields.NumField() != len(Variables) {
		t.Fatalf("%d fields, %d variables", fields.NumField(), len(Variables))
	}
	for i, v := range Variables {
		tag := fields.Field(i).Tag
		if tag.Get("env") != v.Name || tag.Get("envDefault") != v.Default {
			t.Errorf("field %s reads %s with default %q, the table says %s with %q", fields.Field(i).Name, tag.Get("env"), tag.Get("envDefault"), v.Name, v.Default)
		}
		if v.What == "" {
			t.Errorf("%s is not explained", v.Name)
		}
	}
}
