-- The journal of spile, schema 2: what it adds to schema 1.

-- The end of a shelving stands in the transition that shelves, ms; NULL: it shelves nothing.
ALTER TABLE transitions ADD COLUMN until INTEGER;

-- Messages wait in a queue for each webhook and incident. The state 'dead' is no longer given: a webhook that wants no
-- more messages keeps its queues waiting for a better address.
DROP INDEX outbox_pending;
CREATE INDEX outbox_queues ON outbox (webhook, incident, place) WHERE state = 'pending';
