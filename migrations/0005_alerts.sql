-- Alerts: what the rules of a site told, who has seen it, and what other programs were told of it. The rules themselves stand
-- in the ledger; what they tell follows from it, and is none of the facts of the house.

CREATE TABLE alert (
    site TEXT NOT NULL,
    id TEXT NOT NULL,
    rule TEXT NOT NULL,
    subject TEXT NOT NULL,
    sentence TEXT NOT NULL,
    raised_at BIGINT NOT NULL,
    ended_at BIGINT NOT NULL,
    seq BIGINT NOT NULL,
    PRIMARY KEY (site, id)
);

-- However many servers judge the rules, a thing is told once while it is so.
CREATE UNIQUE INDEX alert_open ON alert (site, rule, subject) WHERE ended_at = 0;

CREATE INDEX alert_ended ON alert (site, ended_at);

CREATE TABLE alert_seen (
    site TEXT NOT NULL,
    alert TEXT NOT NULL,
    person TEXT NOT NULL,
    at BIGINT NOT NULL,
    PRIMARY KEY (site, alert, person)
);

-- The secret with which a rule's messages are signed, and the entry of the rule whose address wanted no more of them.
CREATE TABLE alert_webhook (
    site TEXT NOT NULL,
    rule TEXT NOT NULL,
    secret BYTES NOT NULL,
    made_at BIGINT NOT NULL,
    made_by TEXT NOT NULL,
    gone_entry BIGINT NOT NULL,
    PRIMARY KEY (site, rule)
);

CREATE TABLE alert_delivery (
    site TEXT NOT NULL,
    id TEXT NOT NULL,
    alert TEXT NOT NULL,
    rule TEXT NOT NULL,
    kind TEXT NOT NULL,
    body TEXT NOT NULL,
    made_at BIGINT NOT NULL,
    due_at BIGINT NOT NULL,
    tries BIGINT NOT NULL,
    status TEXT NOT NULL,
    PRIMARY KEY (site, id)
);

CREATE INDEX alert_delivery_due ON alert_delivery (status, due_at);

CREATE TABLE alert_attempt (
    site TEXT NOT NULL,
    delivery TEXT NOT NULL,
    number BIGINT NOT NULL,
    at BIGINT NOT NULL,
    told TEXT NOT NULL,
    PRIMARY KEY (site, delivery, number)
);
