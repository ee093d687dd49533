package round_test

import (
	"testing"

	"bayround/internal/stationtest"
)

// BenchmarkUplink_Sends is how long a result takes that waited in the outbox, with
// many others, for the station to be reached.
func BenchmarkUplink_Sends(b *testing.B) {
	o := openOfRecord(b)
	tab := newTablet(b, o.wire, "tablet-1")
	tab.stop()
	name := tab.begin(firstPump)
	for range b.N {
		tab.answer(name, stationtest.Seen(windscreen, "sound"))
	}
	b.ResetTimer()
	tab.start()
	tab.sent()
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "results/s")
}
