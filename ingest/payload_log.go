package ingest

import (
	"spile/detect"
)

// readLog reads a line of the cellar log.
func (h *hearing) readLog() {
	document, err := decodeDocument(h.message.Payload)
	if err != nil {
		h.refuse(ReasonBadJSON, "%v", err)
		return
	}
	fields, ok := document.(map[string]any)
	if !ok {
		h.refuse(ReasonBadJSON, `a line of the cellar log is an object: send {"event":"dry-hop","mass":"9 kg"}`)
		return
	}
	if h.message.Retained && fields["time"] == nil {
		h.refuse(ReasonRetained, "a retained log message without a time could be of any age: publish without the retain flag, or send time")
		return
	}
	event, err := detect.ParseEvent(h.place.tank, fields, h.arrived)
	if err != nil {
		h.refuseError("", err)
		return
	}
	h.out.Events = append(h.out.Events, event)
}
