package main

import (
	"github.com/grafana/grafana-foundation-sdk/go/cog"
	"github.com/grafana/grafana-foundation-sdk/go/common"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
	"github.com/grafana/grafana-foundation-sdk/go/prometheus"
	"github.com/grafana/grafana-foundation-sdk/go/stat"
	"github.com/grafana/grafana-foundation-sdk/go/timeseries"
)

// source is the data source that whoever looks has chosen.
func source() common.DataSourceRef {
	kind, uid := "prometheus", "${source}"
	return common.DataSourceRef{Type: &kind, Uid: &uid}
}

// query is one line of a panel, and how it is named.
type query struct{ expr, legend string }

func (q query) build(id string) *prometheus.DataqueryBuilder {
	return prometheus.NewDataqueryBuilder().Expr(q.expr).LegendFormat(q.legend).RefId(id).Datasource(source())
}

// look is what a panel needs beside its queries.
type look struct {
	title    string
	says     string // what a person is to make of it
	unit     string // Grafana's name of it
	decimals float64
	width    uint32 // of 24
	step     bool   // the value holds until the next
}

// curve is a panel of lines over time. A stretch in which nothing was heard stays empty.
func curve(l look, queries ...query) cog.Builder[dashboard.Panel] {
	p := timeseries.NewPanelBuilder().Title(l.title).Description(l.says).Datasource(source()).Unit(l.unit).Decimals(l.decimals).
		Span(l.width).Height(8).LineWidth(2).FillOpacity(0).ShowPoints(common.VisibilityModeNever).
		Legend(common.NewVizLegendOptionsBuilder().DisplayMode(common.LegendDisplayModeList).Placement(common.LegendPlacementBottom).ShowLegend(true)).
		Tooltip(common.NewVizTooltipOptionsBuilder().Mode(common.TooltipDisplayModeMulti).Sort(common.SortOrderNone))
	if l.step {
		p.LineInterpolation(common.LineInterpolationStepAfter)
	}
	for i, q := range queries {
		p.WithTarget(q.build(string(rune('A' + i))))
	}
	return p
}

// number is a panel with the newest value in large letters.
func number(l look, q query) cog.Builder[dashboard.Panel] {
	return stat.NewPanelBuilder().Title(l.title).Description(l.says).Datasource(source()).Unit(l.unit).Decimals(l.decimals).
		Span(l.width).Height(4).NoValue("0").GraphMode(common.BigValueGraphModeNone).ColorMode(common.BigValueColorModeNone).
		TextMode(common.BigValueTextModeAuto).
		ReduceOptions(common.NewReduceDataOptionsBuilder().Calcs([]string{"lastNotNull"})).WithTarget(q.build("A").Instant())
}
