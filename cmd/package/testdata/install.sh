# Installs, upgrades, runs and removes the package on a copy of this system, in memory, which
# vanishes with the namespace that the test made. Arguments: a directory for the copy, the package,
# the same with a higher version, an old journal, HOST:PORT of a scale.
set -eu
dir=$1 first=$2 second=$3 journal=$4 scale=$5

mount -t tmpfs none "$dir"
mkdir "$dir/upper" "$dir/work" "$dir/root"
mount -t overlay overlay -o "lowerdir=/,upperdir=$dir/upper,workdir=$dir/work" "$dir/root"
for at in proc dev; do mount --rbind "/$at" "$dir/root/$at"; done
mkdir -p "$dir/root/package"
cp "$first" "$dir/root/package/first.deb"
cp "$second" "$dir/root/package/second.deb"
cp "$journal" "$dir/root/package/journal.gz"

cat >"$dir/root/package/play" <<'PLAY'
set -eu
scale=$1
fail() { echo "FAILED: $*"; exit 1; }
user="setpriv --reuid=potlifed --regid=potlifed --init-groups"
as() { $user "$@"; }
service=
trap 'if [ -n "$service" ]; then kill "$service" 2>/dev/null; fi' EXIT

# A check reports the devices of the configuration, so that three edited lines are enough.
mkdir -p /package/sensor
echo 21000 >/package/sensor/temp1_input
echo 48000 >/package/sensor/humidity1_input
chmod -R a+rX /package

echo "== install"
dpkg -i /package/first.deb
id -nG potlifed | grep -qw dialout || fail "the user is not in dialout"
[ "$(stat -c '%U %G %a' /var/lib/potlifed)" = "potlifed potlifed 750" ] || fail "data_dir: $(stat -c '%U %G %a' /var/lib/potlifed)"
[ ! -e /etc/systemd/system/multi-user.target.wants/potlifed.service ] || fail "the service is enabled before it is set up"
systemd-analyze verify --man=no /usr/lib/systemd/system/potlifed.service

echo "== three lines, check"
sed -i -e "s|/dev/serial/by-id/EDIT-THIS|tcp://$scale|" -e "s|path: [^}]*|path: /package/sensor|" \
  -e 's|id: dial-satin|id: hard-1|' -e 's|listen: 127.0.0.1:[0-9]*|listen: 127.0.0.1:0|' /etc/potlifed/potlifed.yaml
as potlifed check

start_service() {
  : >/package/log # else the first lines that are read are those of the run before
  $user potlifed run >/package/out.log 2>/package/log &
  service=$!
  for _ in $(seq 300); do
    if grep -q msg=ready /package/log; then return; fi
    kill -0 "$service" 2>/dev/null || { cat /package/log; fail "the service has ended"; }
    sleep 0.2
  done
  cat /package/log
  fail "the service is not ready"
}
end_service() {
  kill "$service"
  wait "$service" || fail "the service ended with $?: $(cat /package/log)"
  service=
}
batches() { # FILE: what the journal says of the batches
  rm -rf /package/out && mkdir /package/out && chown potlifed /package/out
  as potlifed export --out /package/out --tables batches >/dev/null
  cp /package/out/batches.csv "$1"
}

echo "== a journal of an older version, run"
gunzip -c /package/journal.gz >/var/lib/potlifed/journal.sqlite
chown potlifed:potlifed /var/lib/potlifed/journal.sqlite
start_service
end_service
batches /package/before.csv
[ "$(wc -l </package/before.csv)" -gt 3 ] || fail "the batches of the old journal: $(cat /package/before.csv)"

echo "== upgrade"
cp /etc/potlifed/potlifed.yaml /package/edited.yaml
dpkg -i /package/second.deb
cmp /etc/potlifed/potlifed.yaml /package/edited.yaml || fail "the upgrade changed the configuration"
start_service
end_service
batches /package/after.csv
cmp /package/before.csv /package/after.csv || fail "the upgrade changed the batches"

echo "== remove"
dpkg -r potlifed
[ ! -e /usr/bin/potlifed ] || fail "the program is still there"
[ -s /var/lib/potlifed/journal.sqlite ] || fail "removing took the journal"
cmp /etc/potlifed/potlifed.yaml /package/edited.yaml || fail "removing took the configuration"

echo "== purge"
dpkg -P potlifed
[ ! -e /etc/potlifed ] || fail "purging left /etc/potlifed"
[ -s /var/lib/potlifed/journal.sqlite ] || fail "purging took the journal"
echo "== done"
PLAY
chroot "$dir/root" sh /package/play "$scale"
