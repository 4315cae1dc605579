"""A Slurm cluster of one node on this machine: munged, slurmctld and slurmd, started by hand in
a scratch folder and stopped at the end, whatever happened. No systemd, no cgroups, no accounts,
ports and socket of its own: a cluster that is there already is not touched.
"""

import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile

from shares import PATIENCE_S, Trouble, wait_for

PROGRAMS = ("munged", "munge", "slurmctld", "slurmd", "sbatch", "scontrol", "scancel", "squeue")

# `cred_expire` is also how long a requeued task waits before it is started again, seconds.
# `JobRequeue=0`: a task may be requeued only if its script says so.
CONFIG = """\
ClusterName=shaftbook
SlurmctldHost={host}(127.0.0.1)
SlurmctldPort={controller_port}
SlurmdPort={node_port}
SlurmUser={user}
SlurmdUser={user}
AuthType=auth/munge
AuthInfo=socket={folder}/munge.socket,cred_expire=5
StateSaveLocation={folder}/state
SlurmdSpoolDir={folder}/spool
SlurmctldPidFile={folder}/slurmctld.pid
SlurmdPidFile={folder}/slurmd.pid
SlurmctldLogFile={folder}/slurmctld.log
SlurmdLogFile={folder}/slurmd.log
ProctrackType=proctrack/linuxproc
TaskPlugin=task/none
JobAcctGatherType=jobacct_gather/none
MailProg=/bin/true
MpiDefault=none
JobRequeue=0
KillWait=5
ReturnToService=2
SchedulerType=sched/builtin
SchedulerParameters=sched_interval=1,batch_sched_delay=0
SelectType=select/cons_tres
SelectTypeParameters=CR_Core
NodeName={host} NodeAddr=127.0.0.1 CPUs=2 Boards=1 SocketsPerBoard=1 CoresPerSocket=2 \
ThreadsPerCore=1 State=UNKNOWN
PartitionName=all Nodes=ALL Default=YES MaxTime=INFINITE State=UP
"""


def free_ports(count):
    """Ports that nothing listens on now."""
    taken = [socket.create_server(("127.0.0.1", 0)) for _ in range(count)]
    ports = [each.getsockname()[1] for each in taken]
    for each in taken:
        each.close()
    return ports


class Cluster:
    """The cluster, as a context: it runs inside of `with`."""

    def __init__(self):
        # A socket's path must be short, so this is not below the clone.
        self.folder = tempfile.mkdtemp(prefix="shaftbook-slurm-")
        os.chmod(self.folder, 0o755)
        self.daemons = []
        self.environment = {
            name: value
            for name, value in os.environ.items()
            if not name.startswith(("SLURM_", "SBATCH_"))
        }
        self.environment["SLURM_CONF"] = os.path.join(self.folder, "slurm.conf")

    def __enter__(self):
        missing = [name for name in PROGRAMS if shutil.which(name, path=self.path()) is None]
        try:
            if missing:
                raise Trouble(f"not installed: {', '.join(missing)} (slurm-wlm and munge)")
            self.start()
        except BaseException:
            self.print_logs()
            self.stop()
            raise
        return self

    def __exit__(self, kind, _value, _trace):
        if kind is not None:
            self.print_logs()
        self.stop()

    def path(self):
        """Where the daemons are is not in every user's PATH."""
        return self.environment.get("PATH", "") + ":/usr/sbin:/sbin"

    def start(self):
        """Writes the files and starts the three daemons, each when the last one answers."""
        os.mkdir(os.path.join(self.folder, "state"))
        os.mkdir(os.path.join(self.folder, "spool"))
        controller_port, node_port = free_ports(2)
        self.write("slurm.conf", CONFIG.format(
            host=socket.gethostname().split(".")[0],
            user=subprocess.check_output(["id", "-un"], text=True).strip(),
            folder=self.folder, controller_port=controller_port, node_port=node_port))
        # Nothing uses a cgroup, but the node loads a plugin all the same: the one that looks for
        # nothing when it is loaded, or (in versions that have it) none.
        version = self.ask("scontrol", "--version").split()[-1]
        plugin = "cgroup/v1" if version.startswith("22.") else "disabled"
        self.write("cgroup.conf", f"CgroupPlugin={plugin}\n")
        key = os.path.join(self.folder, "munge.key")
        with open(os.open(key, os.O_WRONLY | os.O_CREAT, 0o400), "wb") as file:
            file.write(os.urandom(128))
        munge_socket = os.path.join(self.folder, "munge.socket")
        self.daemon("munged", "--foreground", "--force", "--socket", munge_socket,
                    "--key-file", key, "--seed-file", os.path.join(self.folder, "munge.seed"),
                    "--pid-file", os.path.join(self.folder, "munged.pid"))
        wait_for("munged signs", lambda: self.succeeds("munge", "-n", "-S", munge_socket))
        self.daemon("slurmctld", "-D")
        wait_for("slurmctld answers", lambda: self.succeeds("scontrol", "ping"))
        self.daemon("slurmd", "-D")
        wait_for("the node is idle", lambda: "State=IDLE" in self.ask("scontrol", "show", "node"))

    def write(self, name, text):
        """Writes a file into the scratch folder."""
        with open(os.path.join(self.folder, name), "w", encoding="utf-8") as file:
            file.write(text)

    def daemon(self, *command):
        """Starts a daemon, whose output goes into the scratch folder."""
        program = shutil.which(command[0], path=self.path())
        with open(os.path.join(self.folder, f"{command[0]}.out"), "wb") as out:
            process = subprocess.Popen([program, *command[1:]], env=self.environment,
                                       stdin=subprocess.DEVNULL, stdout=out, stderr=out)
        self.daemons.append((command[0], process))

    def alive(self):
        """Fails if a daemon has ended."""
        for name, process in self.daemons:
            if process.poll() is not None:
                raise Trouble(f"{name} ended with {process.returncode}")

    def run(self, *command, **more):
        """Runs a program as a user of the cluster."""
        self.alive()
        environment = {**self.environment, **more.pop("variables", {})}
        return subprocess.run(command, env=environment, text=True, check=False,
                              stdout=subprocess.PIPE, stderr=subprocess.STDOUT, timeout=PATIENCE_S,
                              **more)

    def succeeds(self, *command):
        """Whether a command does."""
        return self.run(*command).returncode == 0

    def ask(self, *command):
        """What a command prints; it must succeed."""
        done = self.run(*command)
        if done.returncode != 0:
            raise Trouble(f"{' '.join(command)}: {done.stdout.strip()}")
        return done.stdout

    def job(self, job):
        """What the controller says of a job or a task, by field."""
        line = self.ask("scontrol", "show", "job", "-o", job).split("\n")[0]
        return dict(part.split("=", 1) for part in line.split() if "=" in part)

    def no_jobs(self):
        """Cancels all jobs and waits until they are gone."""
        self.ask("scancel", f"--user={os.geteuid()}")
        wait_for("no job is left", lambda: not self.ask("squeue", "-h").strip())

    def print_logs(self):
        """The last of what all have written."""
        names = os.listdir(self.folder)
        for name in sorted(names):
            # The log has the daemon's output too.
            if name.endswith(".log") or name.endswith(".out") and name[:-3] + "log" not in names:
                print_end(os.path.join(self.folder, name))

    def stop(self):
        """Ends jobs and daemons, then whatever else was started with this configuration."""
        if [name for name, process in self.daemons if process.poll() is None] == [
                "munged", "slurmctld", "slurmd"]:
            try:
                self.no_jobs()
            except (Trouble, subprocess.TimeoutExpired) as trouble:
                print(f"slurm: {trouble}", file=sys.stderr)
        for _, process in reversed(self.daemons):
            process.terminate()
            try:
                process.wait(timeout=20)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
        for process in self.left_over():
            os.kill(process, signal.SIGKILL)
        shutil.rmtree(self.folder, ignore_errors=True)

    def left_over(self):
        """Processes that were started with this cluster's configuration and still run."""
        mark = f"SLURM_CONF={self.environment['SLURM_CONF']}".encode()
        for name in os.listdir("/proc"):
            if not name.isdigit() or int(name) == os.getpid():
                continue
            try:
                with open(f"/proc/{name}/environ", "rb") as file:
                    if mark in file.read().split(b"\0"):
                        yield int(name)
            except OSError:
                pass  # it ended, or is another's


def print_end(path):
    """Prints the last lines of a file."""
    print(f"--- {path}", file=sys.stderr)
    with open(path, encoding="utf-8", errors="replace") as file:
        print("".join(file.readlines()[-40:]), file=sys.stderr)
