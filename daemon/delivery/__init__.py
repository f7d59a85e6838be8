"""Who is told of an alert: a durable outbox, one queue and one thread a target, and retained messages on MQTT."""
