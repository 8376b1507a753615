-- One index of the outbox instead of two: each costs a page in every commit that puts an alarm into the record. What is given
-- up when too much waits is found by reading through it.
DROP INDEX outbox_of_class;
DROP INDEX outbox_of_publisher;
CREATE INDEX outbox_of_publisher ON outbox (tun_id, publisher, id, class);
