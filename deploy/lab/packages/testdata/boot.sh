#!/bin/sh
# boot.sh ROOT: boots the Debian in the folder ROOT with its own systemd, in
# namespaces of its own but for the network, which is the caller's. It writes the
# number of systemd's parent, and kills all of it once its standard input ends,
# so that nothing is left over however the caller ends.
# Start it by "unshare --mount sh".
set -eu

# The second stage runs as the first process of the new namespaces.
if [ "$1" = init ]; then
	cd "$2"
	mount --bind "$2" "$2"
	cd "$2"
	mount -t proc proc proc
	mount -t sysfs sysfs sys
	mount -t cgroup2 cgroup2 sys/fs/cgroup
	mount -t tmpfs -o mode=755 run run
	mount -t tmpfs -o mode=1777 tmp tmp
	mount -t tmpfs -o mode=755 dev dev
	for n in null zero full random urandom tty; do touch dev/$n; mount --bind /dev/$n dev/$n; done
	mkdir dev/pts dev/shm mnt/old
	mount -t devpts -o newinstance,ptmxmode=0666 devpts dev/pts
	ln -s pts/ptmx dev/ptmx
	pivot_root . mnt/old
	exec env -i container=other PATH=/usr/sbin:/usr/bin:/sbin:/bin sh -c 'umount -l /mnt/old; rmdir /mnt/old; exec /lib/systemd/systemd --log-target=console --show-status=0'
fi

root=$1
mount --make-rprivate /
# systemd must have a control group to itself, whose root it then takes for all there is.
groups=$(mktemp -d)
mount -t cgroup2 cgroup2 "$groups"
group=$groups/boundwalk-lab-$$
mkdir "$group"
sh -c 'echo $$ > "$1/cgroup.procs"; exec unshare --mount --uts --ipc --pid --fork --kill-child --cgroup sh "$2" init "$3"' sh "$group" "$0" "$root" &
unshare=$!
echo "$unshare"
cat >/dev/null
kill -KILL "$unshare" || true
wait "$unshare" || true
# The kernel ends what was inside a moment later.
for _ in 1 2 3 4 5 6 7 8 9 10; do
	find "$group" -depth -type d -exec rmdir {} + 2>/dev/null && break
	sleep 0.2
done
umount "$groups"
rmdir "$groups"
