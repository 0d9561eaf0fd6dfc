#!/bin/sh
# An example of a backup: one whole, checked copy of the database in a folder.
#
#   deploy/backup.sh DATABASE FOLDER
#
# DATABASE is what ENDSHAKE_DATABASE says: a folder or file (needs sqlite3), or
# a PostgreSQL address (needs pg_dump). The service may go on running. Leave the
# password out of the address and put it into ~/.pgpass: what stands on a command
# line can be seen by others on the machine.
#
# KEEP (30) says how many copies are kept; older ones that this script made are
# removed. Run it daily, and keep FOLDER on another machine: a copy beside the
# original burns with it.
#
# To restore, stop the service first; then
#   SQLite      remove endshake.db, endshake.db-wal and endshake.db-shm from the
#               data folder, and copy the backup there as endshake.db, owned by
#               the user of the service;
#   PostgreSQL  createdb endshake_new, then
#               pg_restore --no-owner --exit-on-error --dbname=ADDRESS FILE
#               and name the new database in ENDSHAKE_DATABASE.
# Start the service again: it works everything else out from the log. Mails that
# went out after the copy was made are owed again, so look into the mail room.
# A backup that was never restored is a hope: try it once a year.
set -eu
umask 077

die() {
	echo "backup: $1" >&2
	exit 1
}

[ $# -eq 2 ] || die "say what and where to: backup.sh DATABASE FOLDER"
database=$1 folder=$2 keep=${KEEP:-30}
case $keep in
'' | *[!0-9]* | 0) die "KEEP is \"$keep\": it must be a whole number from 1" ;;
esac
[ -d "$folder" ] || die "$folder is not a folder: make it first, on a disk that is there"

stamp=$(date -u +%Y%m%dT%H%M%SZ)
part=$folder/endshake-$stamp.part
[ ! -e "$part" ] || die "$part is there already: another backup runs, or one was cut off; look, and remove it"
trap 'rm -f "$part"' EXIT
trap 'exit 1' HUP INT TERM

case $database in
postgres://* | postgresql://*)
	command -v pg_dump >/dev/null || die "pg_dump is missing: install PostgreSQL's client programs"
	kind=pgdump
	pg_dump --format=custom --no-owner --file="$part" "$database" || die "pg_dump failed, see above; nothing was kept"
	pg_restore --list "$part" >/dev/null || die "the copy cannot be read back; nothing was kept"
	;;
*)
	command -v sqlite3 >/dev/null || die "sqlite3 is missing: install it"
	kind=db
	file=${database#sqlite:}
	[ ! -d "$file" ] || file=$file/endshake.db
	[ -f "$file" ] || die "there is no database at $file"
	# A quote in a name is doubled, as SQL wants it.
	quoted=$(printf %s "$part" | sed "s/'/''/g")
	sqlite3 -bail -cmd '.timeout 30000' "$file" "VACUUM INTO '$quoted'" || die "sqlite3 failed, see above; nothing was kept"
	[ "$(sqlite3 "$part" 'PRAGMA integrity_check')" = ok ] || die "the copy is not sound; nothing was kept"
	;;
esac

copy=$folder/endshake-$stamp.$kind
sync "$part" # on the disk before it gets its name
mv "$part" "$copy"
echo "$copy"

# The newest stand first, because the names carry the time.
find "$folder" -maxdepth 1 -type f -name "endshake-????????T??????Z.$kind" | sort -r | tail -n "+$((keep + 1))" |
	while IFS= read -r old; do rm -f "$old"; done
