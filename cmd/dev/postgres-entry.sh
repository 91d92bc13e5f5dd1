#!/bin/sh
# First process of the locally made PostgreSQL image. It takes the same variables as the image that
# docker-compose.yml names by default, makes the database on the first start, and becomes PostgreSQL.
set -eu
bin=$(ls -d /usr/lib/postgresql/*/bin | tail -n 1)
: "${PGDATA:=/var/lib/postgresql/data}" "${POSTGRES_USER:=postgres}"
: "${POSTGRES_DB:=$POSTGRES_USER}"

if [ "$(id -u)" = 0 ]; then
	mkdir -p "$PGDATA"
	chown postgres:postgres "$PGDATA"
	chmod 0700 "$PGDATA"
	exec setpriv --reuid postgres --regid postgres --init-groups "$0" "$@"
fi
if [ "${1:-}" = postgres ]; then
	shift
fi

if [ ! -s "$PGDATA/PG_VERSION" ]; then
	secret=$(mktemp)
	printf '%s\n' "${POSTGRES_PASSWORD:?set it to the password of the database}" >"$secret"
	"$bin/initdb" -D "$PGDATA" -U "$POSTGRES_USER" --pwfile="$secret" --auth-local=trust \
		--auth-host=scram-sha-256 --encoding=UTF8 --locale=C.UTF-8 --data-checksums
	rm "$secret"
	echo 'host all all all scram-sha-256' >>"$PGDATA/pg_hba.conf"
	if [ "$POSTGRES_DB" != postgres ]; then
		echo "CREATE DATABASE \"$POSTGRES_DB\"" | "$bin/postgres" --single -jE -D "$PGDATA" postgres
	fi
fi
exec "$bin/postgres" -D "$PGDATA" -c listen_addresses='*' -c unix_socket_directories=/tmp "$@"
